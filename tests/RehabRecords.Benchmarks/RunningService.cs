using System.Diagnostics;
using System.Net;
using System.Net.Sockets;

namespace RehabRecords.Benchmarks;

/// <summary>The service as a process of its own, on a free port and a new data folder.</summary>
internal sealed class RunningService : IAsyncDisposable
{
    private readonly Process _process;

    private RunningService(Process process, string folder, Uri address)
    {
        _process = process;
        Folder = folder;
        Http = new HttpClient(new SocketsHttpHandler { MaxConnectionsPerServer = 256 }) { BaseAddress = address };
    }

    public HttpClient Http { get; }

    public string Folder { get; }

    /// <summary>Leaves the record for the next one that starts on it.</summary>
    public bool KeepFolder { get; set; }

    public long ResidentMegabytes
    {
        get
        {
            _process.Refresh();
            return _process.WorkingSet64 / 1048576;
        }
    }

    public TimeSpan ProcessorTime
    {
        get
        {
            _process.Refresh();
            return _process.TotalProcessorTime;
        }
    }

    public long PeakMegabytes
    {
        get
        {
            _process.Refresh();
            return _process.PeakWorkingSet64 / 1048576;
        }
    }

    /// <summary>Starts the service and returns at once; the caller asks until it answers.</summary>
    /// <param name="verb">What it is to do; it serves an empty record when left out.</param>
    public static RunningService Start(string assembly, params string[] verb) => On(Directory.CreateTempSubdirectory("rehabrecords-bench-").FullName, assembly, verb);

    public static RunningService On(string folder, string assembly, params string[] verb) => On(folder, assembly, new Dictionary<string, string>(), verb);

    /// <summary>A record that was filled while it was open, now of an organisation whose people sign in and whose every access is audited.</summary>
    /// <param name="atOnce">Requests of one caller that are answered at the same time, where the service is not to decide.</param>
    public static RunningService Closed(string folder, string assembly, string? atOnce = null)
    {
        var organisation = Directory.CreateDirectory(Path.Combine(folder, "organisations", "clinic")).FullName;
        foreach (var file in Directory.EnumerateFiles(folder, "records.db*"))
            File.Move(file, Path.Combine(organisation, Path.GetFileName(file)));
        return On(
            folder, assembly, new Dictionary<string, string> { ["RehabRecords__Access__Mode"] = "closed" },
            ["--environment", "Development", "--RehabRecords:Access:DevelopmentIssuer", "true", "--RehabRecords:Access:Organisations:clinic", "Clinic",
                .. atOnce is null ? Array.Empty<string>() : ["--RehabRecords:Access:RequestsAtOnce", atOnce]]);
    }

    /// <param name="folder">Of the record; deleted at the end.</param>
    /// <param name="environment">Further settings, such as RehabRecords__Access__Mode, which is demo when left out.</param>
    public static RunningService On(string folder, string assembly, Dictionary<string, string> environment, params string[] verb)
    {
        var address = $"http://127.0.0.1:{FreePort()}";
        var start = new ProcessStartInfo("dotnet", [assembly, .. verb, "--urls", address, "--data", folder, "--RehabRecords:PublicUrl", address])
        {
            RedirectStandardOutput = true,
            RedirectStandardError = true,
            Environment = { ["Logging__LogLevel__Default"] = "Warning", ["RehabRecords__Access__Mode"] = "demo" },
        };
        foreach (var (name, value) in environment)
            start.Environment[name] = value;
        var process = Process.Start(start) ?? throw new InvalidOperationException("dotnet did not start.");
        process.OutputDataReceived += (_, _) => { };
        process.ErrorDataReceived += (_, line) => { if (line.Data is not null) Console.Error.WriteLine(line.Data); };
        process.BeginOutputReadLine();
        process.BeginErrorReadLine();
        return new RunningService(process, folder, new Uri(address));
    }

    public Task UntilReadyAsync() => UntilAsync(async http => (await http.GetAsync("/health/ready")).IsSuccessStatusCode);

    public async Task UntilAsync(Func<HttpClient, Task<bool>> answered)
    {
        for (var tries = 0; tries < 6000; tries++)
        {
            if (_process.HasExited)
                throw new InvalidOperationException($"The service ended with code {_process.ExitCode}.");
            try
            {
                if (await answered(Http))
                    return;
            }
            catch (HttpRequestException)
            {
                // not listening yet
            }

            await Task.Delay(5);
        }

        throw new TimeoutException("The service did not answer within 30 s.");
    }

    public async ValueTask DisposeAsync()
    {
        Http.Dispose();
        _process.Kill(entireProcessTree: true);
        await _process.WaitForExitAsync();
        _process.Dispose();
        if (!KeepFolder)
            Directory.Delete(Folder, recursive: true);
    }

    private static int FreePort()
    {
        using var listener = new TcpListener(IPAddress.Loopback, 0);
        listener.Start();
        return ((IPEndPoint)listener.LocalEndpoint).Port;
    }
}
