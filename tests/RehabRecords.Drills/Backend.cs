using Microsoft.Data.Sqlite;
using Npgsql;

namespace RehabRecords.Drills;

/// <summary>Where the record of a drill is kept, and how that is looked at when the service does not run.</summary>
internal sealed class Backend : IDisposable
{
    private readonly bool _ownsFolder;
    private readonly string _schema;

    public Backend(string? folder = null)
    {
        _ownsFolder = folder is null;
        Folder = folder ?? Directory.CreateTempSubdirectory("rehabrecords-drill-").FullName;
        _schema = "drill_" + Guid.NewGuid().ToString("n")[..12];
        if (!OnServer)
            return;
        var file = Path.Combine(Folder, "connection");
        File.WriteAllText(file, Server);
        if (!OperatingSystem.IsWindows())
            File.SetUnixFileMode(file, UnixFileMode.UserRead | UnixFileMode.UserWrite);
        Environment = new Dictionary<string, string>
        {
            ["RehabRecords__Store__Engine"] = "postgresql",
            ["RehabRecords__Store__ConnectionFile"] = file,
            ["RehabRecords__Store__Schema"] = _schema,
            ["RehabRecords__Store__Partitions"] = "4",
        };
    }

    /// <summary>Whether drills are done on the PostgreSQL server that "tests/postgres" started, instead of on SQLite.</summary>
    public static bool OnServer { get; set; }

    public string Folder { get; }

    public IReadOnlyList<string> Arguments => ["--data", Folder];

    public IReadOnlyDictionary<string, string> Environment { get; } = new Dictionary<string, string>();

    private static string Server => Setting("REHAB_TEST_POSTGRES");

    /// <summary>How many instances of the service may work on it at once.</summary>
    public static int Instances => OnServer ? 2 : 1;

    /// <summary>Does something to the server as its owner, with a program of PostgreSQL.</summary>
    public static Task ServerAsync(params string[] arguments)
    {
        var bin = Directory.EnumerateDirectories("/usr/lib/postgresql").Order(StringComparer.Ordinal).Last() + "/bin/";
        var data = Path.Combine(Setting("REHAB_TEST_POSTGRES_FOLDER"), "data");
        return Shell.RunAsync("runuser", ["-u", "postgres", "--", bin + "pg_ctl", "-D", data, "-l", Path.Combine(data, "..", "log"), "-w", "-s", .. arguments]);
    }

    /// <summary>Ends one of the server's own processes that work for the service, as a fault in it would.</summary>
    public static async Task EndOneBackendAsync()
    {
        await using var connection = new NpgsqlConnection(Server + ";Pooling=false");
        await connection.OpenAsync();
        await using var command = new NpgsqlCommand("SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE pid<>pg_backend_pid() AND backend_type='client backend' AND state<>'idle' LIMIT 1", connection);
        await command.ExecuteNonQueryAsync();
    }

    /// <summary>What the engine itself finds wrong with its files; null when nothing.</summary>
    public string? Damage()
    {
        if (OnServer)
            return ServerDamage();
        using var connection = new SqliteConnection(new SqliteConnectionStringBuilder { DataSource = Path.Combine(Folder, "records.db"), Pooling = false }.ToString());
        connection.Open();
        using var command = connection.CreateCommand();
        command.CommandText = "PRAGMA integrity_check";
        var verdict = command.ExecuteScalar() as string;
        return verdict == "ok" ? null : verdict;
    }

    public void Dispose()
    {
        if (OnServer)
            Run($"SET client_min_messages=warning; DROP SCHEMA IF EXISTS {_schema} CASCADE");
        if (_ownsFolder)
            Directory.Delete(Folder, recursive: true);
    }

    /// <summary>Every index of the schema against its table.</summary>
    private string? ServerDamage()
    {
        try
        {
            Run($"CREATE EXTENSION IF NOT EXISTS amcheck; SELECT bt_index_parent_check(c.oid, true) FROM pg_class c JOIN pg_index i ON i.indexrelid=c.oid JOIN pg_am a ON a.oid=c.relam WHERE a.amname='btree' AND c.relkind='i' AND c.relnamespace='{_schema}'::regnamespace");
            return null;
        }
        catch (PostgresException damaged)
        {
            return damaged.MessageText;
        }
    }

    private static void Run(string sql)
    {
        using var connection = new NpgsqlConnection(Server + ";Pooling=false");
        connection.Open();
        using var command = new NpgsqlCommand(sql, connection);
        command.ExecuteNonQuery();
    }

    private static string Setting(string name) => System.Environment.GetEnvironmentVariable(name) is { Length: > 0 } value
        ? value
        : throw new InvalidOperationException($"{name} is not set. Run: tests/postgres with dotnet run --project tests/RehabRecords.Drills -- … --engine postgresql");
}
