using System.Collections.Concurrent;
using System.Text;
using Microsoft.AspNetCore.Builder;
using Microsoft.AspNetCore.Hosting;
using Microsoft.Extensions.Logging;

namespace RehabRecords.Tests.Telemetry;

/// <summary>A collector of measurements and traces on this machine, which keeps what it is sent. Texts in it stand as they are.</summary>
internal sealed class Collector : IAsyncDisposable
{
    private readonly WebApplication _app;
    private readonly ConcurrentQueue<(string Signal, byte[] Body)> _sent = [];

    private Collector(WebApplication app) => _app = app;

    public string Address => _app.Urls.First();

    public static async Task<Collector> StartAsync()
    {
        var builder = WebApplication.CreateSlimBuilder();
        builder.Logging.ClearProviders();
        builder.WebHost.UseUrls("http://127.0.0.1:0");
        var app = builder.Build();
        var collector = new Collector(app);
        app.Run(async context =>
        {
            using var body = new MemoryStream();
            await context.Request.Body.CopyToAsync(body);
            collector._sent.Enqueue((context.Request.Path.Value!.Split('/')[^1], body.ToArray()));
        });
        await app.StartAsync();
        return collector;
    }

    /// <summary>All that was sent of a kind: traces or metrics.</summary>
    public string TextOf(string signal) => string.Join('\n', _sent.Where(s => s.Signal == signal).Select(s => Encoding.Latin1.GetString(s.Body)));

    /// <summary>Waits until a word was sent in traces or metrics: a service that is closed may still be sending. Gives up after 20 s, for the test to say what is missing.</summary>
    public async Task HearAsync(string signal, string word)
    {
        for (var tries = 0; tries < 200 && !TextOf(signal).Contains(word, StringComparison.Ordinal); tries++)
            await Task.Delay(100);
    }

    public ValueTask DisposeAsync() => _app.DisposeAsync();
}
