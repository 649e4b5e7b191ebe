using System.Collections.Concurrent;
using System.Net;
using System.Text;
using Microsoft.AspNetCore.Builder;
using Microsoft.AspNetCore.Hosting;
using Microsoft.AspNetCore.Http;
using Microsoft.AspNetCore.Server.Kestrel.Core;
using Microsoft.Extensions.Logging;

namespace RehabRecords.Tests.Telemetry;

/// <summary>A collector of measurements and traces on this machine, which keeps what it is sent. Texts in it stand as they are.</summary>
internal sealed class Collector : IAsyncDisposable
{
    private readonly WebApplication _app;
    private readonly ConcurrentQueue<(string Signal, byte[] Body)> _sent = [];

    private Collector(WebApplication app) => _app = app;

    public string Address => _app.Urls.First();

    /// <param name="protocol">As in the setting: grpc, or http/protobuf.</param>
    public static async Task<Collector> StartAsync(string protocol = "http/protobuf")
    {
        var isGrpc = protocol == "grpc";
        var builder = WebApplication.CreateSlimBuilder();
        builder.Logging.ClearProviders();
        builder.WebHost.ConfigureKestrel(server => server.Listen(IPAddress.Loopback, 0, at => at.Protocols = isGrpc ? HttpProtocols.Http2 : HttpProtocols.Http1));
        var app = builder.Build();
        var collector = new Collector(app);
        app.Run(async context =>
        {
            using var body = new MemoryStream();
            await context.Request.Body.CopyToAsync(body);
            var path = context.Request.Path.Value!;
            collector._sent.Enqueue((path.Contains("trace", StringComparison.OrdinalIgnoreCase) ? "traces" : path.Contains("metrics", StringComparison.OrdinalIgnoreCase) ? "metrics" : path, body.ToArray()));
            if (!isGrpc)
                return;
            // An empty message: not packed, no bytes.
            context.Response.ContentType = "application/grpc";
            await context.Response.Body.WriteAsync(new byte[5]);
            context.Response.AppendTrailer("grpc-status", "0");
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
