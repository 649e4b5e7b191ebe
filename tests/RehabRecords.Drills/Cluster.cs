using System.Globalization;
using System.Net;
using System.Net.Sockets;
using Npgsql;

namespace RehabRecords.Drills;

/// <summary>A PostgreSQL server of a drill's own, which may be filled, killed and promoted. Needs root, and PostgreSQL where Debian puts it.</summary>
internal sealed class Cluster : IAsyncDisposable
{
    private static readonly string _bin = Directory.Exists("/usr/lib/postgresql") ? Directory.EnumerateDirectories("/usr/lib/postgresql").Order(StringComparer.Ordinal).Last() + "/bin/" : "";
    private readonly string _data;

    private Cluster(string data, int port) => (_data, Port) = (data, port);

    public int Port { get; }

    public string Connection => $"Host=127.0.0.1;Port={Port.ToString(CultureInfo.InvariantCulture)};Username=rehab;Database=rehab";

    /// <summary>Runs when this returns, with an empty database.</summary>
    /// <param name="folder">Belongs to the server's user from now on.</param>
    /// <param name="log">Folder of the write-ahead log, where it is to lie elsewhere.</param>
    public static async Task<Cluster> MakeAsync(string folder, string? log = null)
    {
        await OwnAsync(folder);
        var cluster = new Cluster(Path.Combine(folder, "data"), FreePort());
        await AsServerAsync("initdb", ["-D", cluster._data, "--encoding=UTF8", "--locale=C", "--data-checksums", "--auth=trust", "--username=rehab", "--no-sync", .. log is null ? (string[])[] : ["--waldir", log]]);
        await cluster.SetAsync("listen_addresses='127.0.0.1'", "max_connections=60", "shared_buffers=64MB", "max_wal_size=96MB", "min_wal_size=32MB", "max_locks_per_transaction=512", "timezone='UTC'", "log_min_messages=fatal");
        await cluster.StartAsync();
        await AsServerAsync("createdb", ["-h", "127.0.0.1", "-p", Text(cluster.Port), "-U", "rehab", "rehab"]);
        return cluster;
    }

    /// <summary>A copy that follows this one, which from now on acknowledges a commit only when the copy has it too.</summary>
    public async Task<Cluster> FollowedByAsync(string folder)
    {
        await OwnAsync(folder);
        var standby = new Cluster(Path.Combine(folder, "data"), FreePort());
        await AsServerAsync("pg_basebackup", ["-h", "127.0.0.1", "-p", Text(Port), "-U", "rehab", "-D", standby._data, "-R", "-c", "fast", "--no-sync"]);
        await standby.SetAsync();
        await standby.StartAsync();
        await SetAsync("synchronous_standby_names='*'");
        await ControlAsync("reload");
        return standby;
    }

    public Task StartAsync() => ControlAsync("-l", Path.Combine(_data, "..", "log"), "-w", "start");

    /// <summary>Starts it where it stopped by itself, or waits until it has recovered by itself; which of the two, the fault decides.</summary>
    public async Task RecoverAsync()
    {
        for (var tries = 0; tries < 60; tries++, await Task.Delay(500))
            try
            {
                await using var connection = new NpgsqlConnection(Connection + ";Pooling=false;Timeout=2");
                await connection.OpenAsync();
                return;
            }
            catch (NpgsqlException)
            {
                try
                {
                    await StartAsync();
                }
                catch (InvalidOperationException)
                {
                    // It runs, and is not done yet.
                }
            }

        throw new InvalidOperationException("The server did not come back.");
    }

    public Task PromoteAsync() => ControlAsync("-w", "promote");

    /// <summary>As when the machine is gone: the first process and all others at once.</summary>
    public async Task KillAsync()
    {
        var first = int.Parse((await File.ReadAllLinesAsync(Path.Combine(_data, "postmaster.pid")))[0], CultureInfo.InvariantCulture);
        var others = (await Shell.RunAsync("ps", "--ppid", Text(first), "-o", "pid=")).Split((char[])[' ', '\n'], StringSplitOptions.RemoveEmptyEntries);
        await Shell.RunAsync("kill", ["-9", Text(first), .. others]);
    }

    public async ValueTask DisposeAsync()
    {
        try
        {
            await ControlAsync("-m", "immediate", "-w", "stop");
        }
        catch (InvalidOperationException)
        {
            // It does not run.
        }
    }

    public static int FreePort()
    {
        using var listener = new TcpListener(IPAddress.Loopback, 0);
        listener.Start();
        return ((IPEndPoint)listener.LocalEndpoint).Port;
    }

    private Task SetAsync(params string[] settings) =>
        File.AppendAllLinesAsync(Path.Combine(_data, "postgresql.conf"), [.. settings, $"port={Text(Port)}", $"unix_socket_directories='{Path.Combine(_data, "..")}'"]);

    private Task<string> ControlAsync(params string[] what) => AsServerAsync("pg_ctl", ["-D", _data, "-s", .. what]);

    private static Task<string> OwnAsync(string folder) => Shell.RunAsync("chown", "postgres", folder);

    private static Task<string> AsServerAsync(string program, string[] arguments) => Shell.RunAsync("runuser", ["-u", "postgres", "--", "env", "-C", "/", _bin + program, .. arguments]);

    private static string Text(int number) => number.ToString(CultureInfo.InvariantCulture);
}
