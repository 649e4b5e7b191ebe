using System.Net.Http.Headers;
using System.Text;
using System.Text.Json.Nodes;
using Microsoft.AspNetCore.Hosting;
using Microsoft.AspNetCore.Hosting.Server;
using Microsoft.AspNetCore.Hosting.Server.Features;
using Microsoft.AspNetCore.Mvc.Testing;
using Microsoft.AspNetCore.TestHost;
using Microsoft.Extensions.DependencyInjection;
using Microsoft.Extensions.Logging;
using RehabRecords.Fhir.Definitions;
using RehabRecords.Fhir.Store;
using RehabRecords.Fhir.Validation;

namespace RehabRecords.Tests;

/// <summary>
/// The whole service as it is served: a real port, a real database of its own. Use it as a class fixture;
/// set a Clock to decide what time it is. The validator is the only thing tests share, because it takes a second to load.
/// </summary>
public class TestApp : WebApplicationFactory<Program>, IAsyncLifetime
{
    /// <summary>The address the service believes it has; what it hands out starts with this and not with the test's port.</summary>
    public const string PublicUrl = "http://records.test";

    public const string FhirBase = PublicUrl + "/fhir";

    private static readonly Lazy<(DefinitionsPack Pack, ResourceValidator Validator)> Shared = new(() =>
    {
        var pack = DefinitionsPack.Open();
        return (pack, ResourceValidator.Create(pack));
    });

    private readonly string _ownFolder = Path.Combine(Path.GetTempPath(), "rehabrecords-tests", Guid.NewGuid().ToString("N"));
    private HttpClient? _client;

    // Without a port: the factory would set it while the program may have started already. The port comes from "urls" below.
    public TestApp() => UseKestrel();

    /// <summary>What time it is; the machine's when left out.</summary>
    public TimeProvider? Clock { get; init; }

    /// <summary>Settings by name, such as RehabRecords:Limits:BodyBytes.</summary>
    public Dictionary<string, string> Settings { get; init; } = [];

    /// <summary>A data folder to start again on; it is kept afterwards.</summary>
    public string? Again { get; init; }

    public string Folder => Again ?? _ownFolder;

    /// <summary>A client of the running service.</summary>
    public HttpClient Http => _client ??= StartedClient();

    public RecordStore Store => Service<RecordStore>();

    /// <summary>Where the service really listens, for a client or a socket of one's own.</summary>
    public Uri Address => Http.BaseAddress!;

    public static ResourceValidator SharedValidator => Shared.Value.Validator;

    public static DefinitionsPack SharedPack => Shared.Value.Pack;

    public T Service<T>()
        where T : notnull
    {
        _ = Http;
        return Services.GetRequiredService<T>();
    }

    /// <summary>How many versions the record has, and the place of the last commit: equal before and after when nothing was stored.</summary>
    public (long Versions, long Last) State()
    {
        return Store.Readers.ReadAsync(s => s.Rows("SELECT count(*), coalesce(max(seq), 0) FROM version", r => (r.GetInt64(0), r.GetInt64(1))), default).GetAwaiter().GetResult()[0];
    }

    public static StringContent Json(JsonNode body, string type = "application/json") => Json(body.ToJsonString(), type);

    public static StringContent Json(string body, string type = "application/json") => new(body, Encoding.UTF8, new MediaTypeHeaderValue(type, "utf-8"));

    /// <summary>Posts to /api and reads the answer, which must be a success.</summary>
    public async Task<JsonNode> PostAsync(string path, JsonNode body)
    {
        using var response = await Http.PostAsync(path, Json(body));
        var text = await response.Content.ReadAsStringAsync();
        Assert.True(response.IsSuccessStatusCode, $"POST {path} answered {(int)response.StatusCode}: {text}");
        return JsonNode.Parse(text)!;
    }

    public async Task<JsonNode> GetAsync(string path)
    {
        using var response = await Http.GetAsync(path);
        var text = await response.Content.ReadAsStringAsync();
        Assert.True(response.IsSuccessStatusCode, $"GET {path} answered {(int)response.StatusCode}: {text}");
        return JsonNode.Parse(text)!;
    }

    /// <summary>Ready when a class begins: the first one of a run would otherwise be asked while it still loads.</summary>
    public async Task InitializeAsync()
    {
        for (var tries = 0; tries < 1500; tries++)
        {
            using var ready = await Http.GetAsync(new Uri("/health/ready", UriKind.Relative));
            if (ready.IsSuccessStatusCode)
                return;
            await Task.Delay(20);
        }
    }

    async Task IAsyncLifetime.DisposeAsync()
    {
        _client?.Dispose();
        await DisposeAsync();
        TestEngine.Drop(_ownFolder);
    }

    /// <summary>Ends when the stores are closed: the program closes them as well, and the factory does not wait for that.</summary>
    public override async ValueTask DisposeAsync()
    {
        await base.DisposeAsync();
        GC.SuppressFinalize(this);
        var held = Directory.Exists(Folder) ? Directory.GetFiles(Folder, "store.lock", SearchOption.AllDirectories) : [];
        for (var tries = 0; tries < 500 && !held.All(IsLetGo); tries++)
            await Task.Delay(20);
    }

    protected override void ConfigureWebHost(IWebHostBuilder builder)
    {
        // As it is run for real: in development the framework answers some errors itself.
        builder.UseEnvironment("Production");
        builder.UseSetting("RehabRecords:DataFolder", Folder);
        builder.UseSetting("RehabRecords:PublicUrl", PublicUrl);
        foreach (var (name, value) in TestEngine.SettingsFor(Folder))
            builder.UseSetting(name, value);
        builder.UseSetting("urls", "http://127.0.0.1:0");
        // Who may enter is what tests of Access are about; the others look at what is behind the door.
        builder.UseSetting("RehabRecords:Access:Mode", "demo");
        foreach (var (name, value) in Settings)
            builder.UseSetting(name, value);
        builder.ConfigureLogging(logging => logging.SetMinimumLevel(LogLevel.Warning));
        builder.ConfigureTestServices(services =>
        {
            if (!Settings.ContainsKey("RehabRecords:PackagesFolder"))
            {
                services.AddSingleton(SharedPack);
                services.AddSingleton(SharedValidator);
            }
            if (Clock is not null)
                services.AddSingleton(Clock);
        });
    }

    private static bool IsLetGo(string file)
    {
        try
        {
            using var tried = new FileStream(file, FileMode.Open, FileAccess.ReadWrite, FileShare.None);
            return true;
        }
        catch (IOException)
        {
            return false;
        }
    }

    private HttpClient StartedClient()
    {
        StartServer();
        // A plain client over a socket, not the test server's own: what is tested is what others get.
        var address = Services.GetRequiredService<IServer>().Features.Get<IServerAddressesFeature>()!.Addresses.First();
        var client = new HttpClient(new CheckedXml(new SocketsHttpHandler { AllowAutoRedirect = false })) { BaseAddress = new Uri(address), Timeout = TimeSpan.FromSeconds(60) };
        return client;
    }
}

/// <summary>A clock that a test sets.</summary>
public sealed class TestClock(DateTimeOffset now) : TimeProvider
{
    public DateTimeOffset Now { get; set; } = now;

    public override DateTimeOffset GetUtcNow() => Now;
}
