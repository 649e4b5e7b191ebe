using System.Data.Common;
using System.Diagnostics;
using Microsoft.Data.Sqlite;
using Npgsql;

namespace RehabRecords.Drills;

/// <summary>Where the record of a drill is kept, and how that is looked at when the service does not run.</summary>
internal sealed class Backend : IDisposable
{
    private readonly bool _ownsFolder;
    private readonly string _schema;
    private readonly string _server = "";

    /// <param name="connection">Of another server than the one of all drills.</param>
    public Backend(string? folder = null, string? connection = null)
    {
        _ownsFolder = folder is null;
        Folder = folder ?? Directory.CreateTempSubdirectory("rehabrecords-drill-").FullName;
        _schema = "drill_" + Guid.NewGuid().ToString("n")[..12];
        if (!OnServer)
            return;
        _server = connection ?? Server;
        var file = Path.Combine(Folder, "connection");
        File.WriteAllText(file, _server);
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

    /// <summary>Tables and files of the store are named so.</summary>
    public string Schema => OnServer ? _schema : "main";

    public static string Server => Setting("REHAB_TEST_POSTGRES");

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

    /// <summary>A command of the program on this store, as an operator types it.</summary>
    public Process Start(params string[] command)
    {
        var start = new ProcessStartInfo("dotnet", [Path.Combine(AppContext.BaseDirectory, "RehabRecords.dll"), .. command, .. Arguments]) { RedirectStandardOutput = true, RedirectStandardError = true };
        foreach (var (name, value) in Environment)
            start.Environment[name] = value;
        return Process.Start(start)!;
    }

    public async Task<(int Code, string Said)> RunAsync(params string[] command)
    {
        using var process = Start(command);
        var error = process.StandardError.ReadToEndAsync();
        var said = await process.StandardOutput.ReadToEndAsync();
        await process.WaitForExitAsync();
        return (process.ExitCode, said + await error);
    }

    /// <summary>Asks the store itself, beside the service; null where it cannot answer.</summary>
    public object? Ask(string sql)
    {
        try
        {
            using var connection = Connect();
            connection.Open();
            using var command = connection.CreateCommand();
            command.CommandText = (OnServer ? $"SET search_path TO {_schema}; " : "") + sql;
            return command.ExecuteScalar();
        }
        catch (DbException)
        {
            return null;
        }
    }

    /// <summary>Does something to the store itself, beside the service.</summary>
    public void Do(string sql)
    {
        using var connection = Connect();
        connection.Open();
        using var command = connection.CreateCommand();
        command.CommandText = (OnServer ? $"SET search_path TO {_schema}; " : "") + sql;
        command.ExecuteNonQuery();
    }

    /// <summary>As the store was before versions had digests, and with an index of other definitions: what the next start has to bring up to date.</summary>
    public void BackToTheOlderSchema() => Do(
        "DROP INDEX version_without_digest; ALTER TABLE version DROP COLUMN digest; DELETE FROM schemaversions WHERE scriptname LIKE '%.004%'; UPDATE fact SET value='older' WHERE name='index'");

    private DbConnection Connect() => OnServer
        ? new NpgsqlConnection(_server + ";Pooling=false")
        : new SqliteConnection(new SqliteConnectionStringBuilder { DataSource = Path.Combine(Folder, "records.db"), Mode = SqliteOpenMode.ReadWrite, Pooling = false }.ToString());

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
        if (OnServer && _server == Server)
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

    private void Run(string sql)
    {
        using var connection = new NpgsqlConnection(_server + ";Pooling=false");
        connection.Open();
        using var command = new NpgsqlCommand(sql, connection);
        command.ExecuteNonQuery();
    }

    private static string Setting(string name) => System.Environment.GetEnvironmentVariable(name) is { Length: > 0 } value
        ? value
        : throw new InvalidOperationException($"{name} is not set. Run: tests/postgres with dotnet run --project tests/RehabRecords.Drills -- … --engine postgresql");
}
