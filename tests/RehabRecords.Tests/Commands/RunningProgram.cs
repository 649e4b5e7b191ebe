using System.Diagnostics;
using System.Net;
using System.Net.Sockets;
using System.Text;

namespace RehabRecords.Tests.Commands;

/// <summary>The program as a person starts it: a process of its own, in a folder where nothing is.</summary>
internal sealed class RunningProgram : IDisposable
{
    private static readonly TimeSpan Patience = TimeSpan.FromMinutes(2);
    private readonly Process _process;
    private readonly StringBuilder _said = new();

    private RunningProgram(Process process)
    {
        _process = process;
        process.OutputDataReceived += Listen;
        process.ErrorDataReceived += Listen;
        process.BeginOutputReadLine();
        process.BeginErrorReadLine();
    }

    public string Said
    {
        get
        {
            lock (_said)
                return _said.ToString();
        }
    }

    public static RunningProgram Start(string folder, params string[] args) =>
        Start(folder, args, TestEngine.SettingsFor(Array.IndexOf(args, "--data") is var at and >= 0 ? Path.Combine(folder, args[at + 1]) : folder));

    public static RunningProgram StartOnSqlite(string folder, params string[] args) => Start(folder, args, []);

    private static RunningProgram Start(string folder, string[] args, Dictionary<string, string> settings)
    {
        var start = new ProcessStartInfo("dotnet", [Path.Combine(AppContext.BaseDirectory, "RehabRecords.dll"), .. args])
        {
            WorkingDirectory = folder,
            RedirectStandardOutput = true,
            RedirectStandardError = true,
            // What a test of these is about lies behind the door; a test about the door takes it away again.
            Environment = { ["RehabRecords__Access__Mode"] = "demo" },
        };
        foreach (var (name, value) in settings)
            start.Environment[name.Replace(":", "__", StringComparison.Ordinal)] = value;
        return new RunningProgram(Process.Start(start)!);
    }

    public static int FreePort()
    {
        using var probe = new TcpListener(IPAddress.Loopback, 0);
        probe.Start();
        return ((IPEndPoint)probe.LocalEndpoint).Port;
    }

    public async Task<int> EndAsync()
    {
        using var late = new CancellationTokenSource(Patience);
        await _process.WaitForExitAsync(late.Token);
        return _process.ExitCode;
    }

    public async Task UntilSaidAsync(string words)
    {
        for (var waited = Stopwatch.StartNew(); !Said.Contains(words, StringComparison.Ordinal); await Task.Delay(50))
        {
            if (_process.HasExited || waited.Elapsed > Patience)
                throw new InvalidOperationException($"The program never said '{words}'. It said:\n{Said}");
        }
    }

    /// <summary>Asks it to end, as a service manager does, and as Ctrl+C does too (which a process started in the background may be told to ignore).</summary>
    public void AskToEnd()
    {
        using var kill = Process.Start("kill", ["-TERM", $"{_process.Id}"]);
        kill.WaitForExit();
    }

    public void Dispose()
    {
        if (!_process.HasExited)
        {
            _process.Kill(entireProcessTree: true);
            // Its folder is deleted next; nothing may still write to it.
            _process.WaitForExit();
        }

        _process.Dispose();
    }

    private void Listen(object sender, DataReceivedEventArgs line)
    {
        lock (_said)
            _said.AppendLine(line.Data);
    }
}
