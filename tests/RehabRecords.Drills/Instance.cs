using System.Diagnostics;
using System.Globalization;
using System.Net;

namespace RehabRecords.Drills;

/// <summary>The service as a process of its own, which a drill may kill, pause or start again on the same record.</summary>
internal sealed class Instance : IAsyncDisposable
{
    private readonly Process _process;
    private readonly List<string> _said = [];
    private bool _disposed;

    private Instance(IReadOnlyList<string> before, Backend backend, IReadOnlyDictionary<string, string> environment)
    {
        Http = new HttpClient(new SocketsHttpHandler { MaxConnectionsPerServer = 1024 })
        {
            BaseAddress = new Uri($"http://127.0.0.1:{Cluster.FreePort()}"),
            Timeout = TimeSpan.FromSeconds(60),
        };
        IReadOnlyList<string> line = [.. before, "dotnet", Path.Combine(AppContext.BaseDirectory, "RehabRecords.dll"), "--urls", Http.BaseAddress.ToString().TrimEnd('/'), .. backend.Arguments];
        var start = new ProcessStartInfo(line[0], line.Skip(1)) { RedirectStandardOutput = true, RedirectStandardError = true };
        start.Environment["Logging__LogLevel__Default"] = "Warning";
        start.Environment["RehabRecords__Access__Mode"] = "demo";
        foreach (var (name, value) in backend.Environment.Concat(environment))
            start.Environment[name] = value;
        _process = Process.Start(start) ?? throw new InvalidOperationException($"{line[0]} did not start.");
        _process.OutputDataReceived += (_, said) => Keep(said.Data);
        _process.ErrorDataReceived += (_, said) => Keep(said.Data);
        _process.BeginOutputReadLine();
        _process.BeginErrorReadLine();
    }

    public HttpClient Http { get; }

    public bool Runs => !_process.HasExited;

    public long ResidentMegabytes
    {
        get
        {
            _process.Refresh();
            return _process.WorkingSet64 / 1048576;
        }
    }

    public string LastWords
    {
        get
        {
            lock (_said)
                return string.Join('\n', _said.TakeLast(20));
        }
    }

    /// <summary>Starts it and waits until it takes requests.</summary>
    /// <param name="before">A program that runs it, with its arguments.</param>
    public static async Task<Instance> StartAsync(Backend backend, IReadOnlyList<string>? before = null, IReadOnlyDictionary<string, string>? environment = null)
    {
        var instance = Begin(backend, before, environment);
        await instance.UntilReadyAsync();
        return instance;
    }

    /// <summary>Starts it, and does not wait.</summary>
    public static Instance Begin(Backend backend, IReadOnlyList<string>? before = null, IReadOnlyDictionary<string, string>? environment = null) =>
        new(before ?? [], backend, environment ?? new Dictionary<string, string>());

    /// <exception cref="InvalidOperationException">It ended, or takes minutes.</exception>
    public async Task UntilReadyAsync()
    {
        for (var began = Stopwatch.GetTimestamp(); ; await Task.Delay(20))
        {
            if (!Runs || Stopwatch.GetElapsedTime(began) > TimeSpan.FromMinutes(3))
                throw new InvalidOperationException("The service did not start: " + LastWords);
            if (await StatusAsync("/health/ready") == HttpStatusCode.OK)
                return;
        }
    }

    /// <summary>Null when it cannot be reached.</summary>
    public async Task<HttpStatusCode?> StatusAsync(string address)
    {
        try
        {
            using var answer = await Http.GetAsync(address);
            return answer.StatusCode;
        }
        catch (Exception e) when (e is HttpRequestException or TaskCanceledException)
        {
            return null;
        }
    }

    /// <summary>As by "kill -9": no handler runs. With a program around it, the service is its child and goes too.</summary>
    public async Task KillAsync()
    {
        _process.Kill(entireProcessTree: true);
        await _process.WaitForExitAsync();
    }

    public Task EndedAsync() => _process.WaitForExitAsync();

    /// <summary>Asks it to end, and waits.</summary>
    public async Task StopAsync()
    {
        await SignalAsync("TERM");
        await _process.WaitForExitAsync();
    }

    public Task SignalAsync(string signal) => Shell.RunAsync("kill", $"-{signal}", _process.Id.ToString(CultureInfo.InvariantCulture));

    public async ValueTask DisposeAsync()
    {
        if (_disposed)
            return;
        _disposed = true;
        Http.Dispose();
        if (Runs)
            await KillAsync();
        _process.Dispose();
    }

    private void Keep(string? line)
    {
        if (line is null)
            return;
        lock (_said)
        {
            _said.Add(line);
            if (_said.Count > 200)
                _said.RemoveRange(0, 100);
        }
    }
}
