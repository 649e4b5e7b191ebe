using System.Diagnostics;
using System.Net;
using System.Net.Sockets;
using System.Text.Json.Nodes;
using RehabRecords.Commands;

namespace RehabRecords.Fuzz;

/// <summary>The service as a process of its own, on a free port and a new data folder.</summary>
internal sealed class Service : IAsyncDisposable
{
    private readonly Process _process;
    private readonly string _folder = Directory.CreateTempSubdirectory("rehabrecords-fuzz-").FullName;
    private readonly List<string> _said = [];
    private bool _failed;

    private Service()
    {
        using (var listener = new TcpListener(IPAddress.Loopback, 0))
        {
            listener.Start();
            Address = new Uri($"http://127.0.0.1:{((IPEndPoint)listener.LocalEndpoint).Port}");
        }

        var start = new ProcessStartInfo("dotnet", [Path.Combine(AppContext.BaseDirectory, "RehabRecords.dll"), "--urls", Address.ToString().TrimEnd('/'), "--data", _folder])
        {
            RedirectStandardOutput = true,
            RedirectStandardError = true,
            Environment = { ["Logging__LogLevel__Default"] = "Warning", ["RehabRecords__Access__Mode"] = "demo" },
        };
        _process = Process.Start(start) ?? throw new InvalidOperationException("dotnet did not start.");
        _process.OutputDataReceived += (_, line) => Keep(line.Data);
        _process.ErrorDataReceived += (_, line) => Keep(line.Data);
        _process.BeginOutputReadLine();
        _process.BeginErrorReadLine();
        Http = new HttpClient(new SocketsHttpHandler { AllowAutoRedirect = false, RequestHeaderEncodingSelector = (_, _) => System.Text.Encoding.Latin1 }) { BaseAddress = Address, Timeout = Timeout.InfiniteTimeSpan };
    }

    public Uri Address { get; }

    public HttpClient Http { get; }

    public bool Runs => !_process.HasExited;

    /// <summary>Ids of resources to aim at, by type.</summary>
    public IReadOnlyList<string> Existing { get; private set; } = [];

    public JsonNode Metadata { get; private set; } = new JsonObject();

    public JsonNode OpenApi { get; private set; } = new JsonObject();

    public string LastWords
    {
        get
        {
            lock (_said)
                return string.Join('\n', _said.TakeLast(40));
        }
    }

    /// <summary>Whether the service told of an error since it was asked last: a caller that has gone, or was cut off, gets no answer that says so.</summary>
    public bool HasFailed()
    {
        lock (_said)
            return (_failed, _failed = false).Item1;
    }

    /// <summary>Starts the service and puts the demo's clinic into it, and the seeds as far as they are accepted.</summary>
    public static async Task<Service> StartAsync(Seeds seeds)
    {
        var service = new Service();
        for (var tries = 0; ; tries++)
        {
            if (!service.Runs || tries > 1200)
                throw new InvalidOperationException("The service did not start: " + service.LastWords);
            try
            {
                using var ready = await service.Http.GetAsync("/health/ready");
                if (ready.IsSuccessStatusCode)
                    break;
            }
            catch (HttpRequestException)
            {
                // not listening yet
            }

            await Task.Delay(100);
        }

        service.Metadata = JsonNode.Parse(await service.Http.GetStringAsync("/fhir/metadata"))!;
        service.OpenApi = JsonNode.Parse(await service.Http.GetStringAsync("/openapi/v1.json"))!;
        await new DemoClinic(service.Http, DemoClinic.DefaultFolder).PostAllAsync(default);
        await service.FillAsync(seeds);
        return service;
    }

    public async ValueTask DisposeAsync()
    {
        Http.Dispose();
        if (Runs)
            _process.Kill(entireProcessTree: true);
        await _process.WaitForExitAsync();
        _process.Dispose();
        Directory.Delete(_folder, recursive: true);
    }

    private async Task FillAsync(Seeds seeds)
    {
        foreach (var body in seeds.Json)
        {
            if (TypeOf(body) is not { } type)
                continue;
            using var content = new ByteArrayContent(body);
            content.Headers.TryAddWithoutValidation("Content-Type", "application/fhir+json");
            using var answer = await Http.PostAsync("/fhir/" + type, content);
        }

        var existing = new List<string>();
        foreach (var type in Metadata["rest"]![0]!["resource"]!.AsArray().Where(r => r!["interaction"]!.AsArray().Any(i => (string?)i!["code"] == "search-type")).Select(r => (string)r!["type"]!))
            existing.AddRange((JsonNode.Parse(await Http.GetStringAsync($"/fhir/{type}?_count=20"))!["entry"]?.AsArray() ?? []).Select(e => $"{type}/{(string)e!["resource"]!["id"]!}"));
        Existing = existing.Count > 100 ? existing : throw new InvalidOperationException($"Only {existing.Count} resources are stored, so most requests would find nothing.");
    }

    public static string? TypeOf(byte[] body)
    {
        try
        {
            return JsonNode.Parse(body)?["resourceType"]?.GetValue<string>();
        }
        catch (Exception e) when (e is System.Text.Json.JsonException or InvalidOperationException)
        {
            return null;
        }
    }

    private void Keep(string? line)
    {
        if (line is null)
            return;
        lock (_said)
        {
            _said.Add(line);
            _failed |= line.StartsWith("fail: ", StringComparison.Ordinal) || line.StartsWith("crit: ", StringComparison.Ordinal) || line.StartsWith("Unhandled exception", StringComparison.Ordinal);
            if (_said.Count > 500)
                _said.RemoveRange(0, 250);
        }
    }
}
