using System.Security.Cryptography;
using System.Text;
using Npgsql;
using RehabRecords.Access;
using RehabRecords.Fhir.Search;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Tests;

/// <summary>
/// The database that the tests run on: SQLite, or with REHAB_TEST_ENGINE=postgresql the server of REHAB_TEST_POSTGRES, which
/// "tests/postgres" starts. A folder stands for a store on both: on the server it is the schema of that name.
/// </summary>
internal static class TestEngine
{
    /// <summary>Few, since each test makes a schema of its own; more than one, so that rows are spread.</summary>
    private const int Partitions = 2;

    private static readonly Lazy<string> _connectionFile = new(() =>
    {
        var file = Path.GetTempFileName();
        File.WriteAllText(file, Connection);
        AppDomain.CurrentDomain.ProcessExit += (_, _) => File.Delete(file);
        return file;
    });

    public static bool IsPostgresql { get; } = Environment.GetEnvironmentVariable("REHAB_TEST_ENGINE") switch
    {
        null or "" or "sqlite" => false,
        "postgresql" => true,
        var other => throw new InvalidOperationException($"REHAB_TEST_ENGINE is '{other}'; it may be sqlite or postgresql."),
    };

    public static string Connection => Environment.GetEnvironmentVariable("REHAB_TEST_POSTGRES") is { Length: > 0 } connection
        ? connection
        : throw new InvalidOperationException("REHAB_TEST_POSTGRES is not set. Run: eval \"$(tests/postgres start)\"");

    public static Task<RecordStore> OpenAsync(string folder, SearchIndexer indexer, TimeProvider clock) => IsPostgresql
        ? RecordStore.OpenPostgresAsync(Connection, SchemaOf(folder), indexer, clock, Partitions)
        : RecordStore.OpenSqliteAsync(folder, indexer, clock);

    /// <summary>Deletes the folder, and the schemas that it and what is in it stand for.</summary>
    public static void Drop(string folder)
    {
        string[] all = Directory.Exists(folder) ? [folder, .. Directory.EnumerateDirectories(folder)] : [folder];
        if (Directory.Exists(folder))
            Directory.Delete(folder, recursive: true);
        if (IsPostgresql)
            Run($"""
                SET client_min_messages=warning;
                DO $$ DECLARE name text; BEGIN
                  FOR name IN SELECT nspname FROM pg_namespace WHERE split_part(nspname, '_', 1) || '_' || split_part(nspname, '_', 2) IN ('{string.Join("', '", all.Select(SchemaOf).Distinct())}') LOOP
                    EXECUTE format('DROP SCHEMA IF EXISTS %I CASCADE', name);
                  END LOOP;
                END $$
                """);
    }

    /// <summary>What a program has to be told so that it uses the store of a folder.</summary>
    public static Dictionary<string, string> SettingsFor(string folder) => IsPostgresql
        ? new()
        {
            ["RehabRecords:Store:Engine"] = "postgresql",
            // A setting of a test is handed over as on a command line, where a connection is refused.
            ["RehabRecords:Store:ConnectionFile"] = _connectionFile.Value,
            ["RehabRecords:Store:Schema"] = SchemaOf(folder),
            ["RehabRecords:Store:Partitions"] = Partitions.ToString(System.Globalization.CultureInfo.InvariantCulture),
        }
        : [];

    /// <summary>A program that is told nothing uses the folder "data" of where it is started.</summary>
    public static string SchemaOf(string folder)
    {
        var path = Path.TrimEndingDirectorySeparator(Path.GetFullPath(folder));
        // A store of a closed service lies in the folder of the service.
        if (Path.GetDirectoryName(Path.GetDirectoryName(path)) is { } service && path == Stores.FolderOf(service, Path.GetFileName(path)))
            return Stores.SchemaOf(SchemaOf(service), Path.GetFileName(path));
        if (Path.GetFileName(path) == "data")
            path = Path.GetDirectoryName(path)!;
        return "t_" + Convert.ToHexStringLower(SHA256.HashData(Encoding.UTF8.GetBytes(path)))[..24];
    }

    /// <summary>Everything that the tables of a store hold, one after the other.</summary>
    public static Task<string> AllTextAsync(RecordStore store) => store.Readers.ReadAsync(
        s => s.AtOneMoment(() => string.Join('\n', StoreTable.All.SelectMany(t => t.Rows(s)).Select(row => string.Join('|', row.Select(v => v is byte[] bytes ? Encoding.UTF8.GetString(bytes) : v?.ToString()))))),
        default);

    public static void Run(string sql)
    {
        using var connection = new NpgsqlConnection(Connection + ";Pooling=false");
        connection.Open();
        using var command = new NpgsqlCommand(sql, connection);
        command.ExecuteNonQuery();
    }
}
