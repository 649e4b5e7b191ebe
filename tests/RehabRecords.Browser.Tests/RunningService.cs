using System.Text;
using System.Text.Json.Nodes;
using Microsoft.AspNetCore.Hosting;
using Microsoft.AspNetCore.Hosting.Server;
using Microsoft.AspNetCore.Hosting.Server.Features;
using Microsoft.AspNetCore.Mvc.Testing;
using Microsoft.AspNetCore.TestHost;
using Microsoft.Extensions.DependencyInjection;
using Microsoft.Extensions.Logging;

namespace RehabRecords.Browser.Tests;

/// <summary>The whole service on a real port, with a data folder of its own and a clock that stands still.</summary>
public sealed class RunningService : WebApplicationFactory<Program>
{
    private readonly string _folder = Path.Combine(Path.GetTempPath(), "rehabrecords-browser-tests", Guid.NewGuid().ToString("N"));
    private readonly Dictionary<string, string> _settings;

    public RunningService(Dictionary<string, string> settings)
    {
        _settings = settings;
        // Without a port: the factory would set it while the program may have started already.
        UseKestrel();
        StartServer();
        var address = new Uri(Services.GetRequiredService<IServer>().Features.Get<IServerAddressesFeature>()!.Addresses.First());
        Http = new HttpClient(new SocketsHttpHandler { AllowAutoRedirect = false }) { BaseAddress = address, Timeout = TimeSpan.FromSeconds(60) };
    }

    /// <summary>The Monday after the demo's last result.</summary>
    public StandingClock Clock { get; } = new() { Now = new DateTimeOffset(2026, 9, 28, 8, 30, 0, TimeSpan.Zero) };

    public HttpClient Http { get; }

    public Uri Address => Http.BaseAddress!;

    public T Service<T>()
        where T : notnull => Services.GetRequiredService<T>();

    public static StringContent Json(JsonNode body, string type = "application/json") => new(body.ToJsonString(), Encoding.UTF8, type);

    public async Task<JsonNode> GetAsync(string path)
    {
        using var response = await Http.GetAsync(path);
        return await ReadAsync(response);
    }

    public async Task<JsonNode> PostAsync(string path, JsonNode body)
    {
        using var response = await Http.PostAsync(path, Json(body));
        return await ReadAsync(response);
    }

    public override async ValueTask DisposeAsync()
    {
        Http.Dispose();
        await base.DisposeAsync();
        if (Directory.Exists(_folder))
            Directory.Delete(_folder, recursive: true);
    }

    protected override void ConfigureWebHost(IWebHostBuilder builder)
    {
        builder.UseEnvironment("Production");
        builder.UseContentRoot(AppContext.BaseDirectory);
        builder.UseSetting("RehabRecords:DataFolder", _folder);
        builder.UseSetting("urls", "http://127.0.0.1:0");
        builder.UseSetting("RehabRecords:Access:Mode", "demo");
        foreach (var (name, value) in _settings)
            builder.UseSetting(name, value);
        builder.ConfigureLogging(logging => logging.SetMinimumLevel(LogLevel.Warning));
        builder.ConfigureTestServices(services => services.AddSingleton<TimeProvider>(Clock));
    }

    private static async Task<JsonNode> ReadAsync(HttpResponseMessage response)
    {
        var text = await response.Content.ReadAsStringAsync();
        Assert.True(response.IsSuccessStatusCode, $"{response.RequestMessage!.RequestUri} answered {(int)response.StatusCode}: {text}");
        return JsonNode.Parse(text)!;
    }
}

/// <summary>A clock that a test sets.</summary>
public sealed class StandingClock : TimeProvider
{
    public required DateTimeOffset Now { get; set; }

    public override DateTimeOffset GetUtcNow() => Now;
}
