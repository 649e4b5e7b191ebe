using Npgsql;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Definitions;
using RehabRecords.Fhir.Search;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Benchmarks;

/// <summary>A database engine to measure on; a folder stands for a store on both.</summary>
/// <param name="Name">As it is printed.</param>
/// <param name="Connection">Of the server; null for SQLite.</param>
internal sealed record BenchmarkEngine(string Name, string Root, string? Connection, int Partitions)
{
    /// <summary>The server that tests and benchmarks may use, or null.</summary>
    public static string? Server => Environment.GetEnvironmentVariable("REHAB_TEST_POSTGRES") is { Length: > 0 } server ? server : null;

    public static IEnumerable<BenchmarkEngine> All(string root, params int[] partitions) =>
        [new("SQLite", root, null, 0), .. Server is { } server ? partitions.Select(p => new BenchmarkEngine($"PostgreSQL, {p} partition(s)", root, server, p)) : []];

    public Task<RecordStore> OpenAsync(string folder)
    {
        var pack = DefinitionsPack.Open(Path.Combine(Root, "artifacts/bin/RehabRecords/release", DefinitionsPack.FileName));
        var indexer = new SearchIndexer(SearchParameters.From(pack.SearchParameters(), ResourceRegistry.Standard, pack.Compartments()));
        return Connection is null
            ? RecordStore.OpenSqliteAsync(folder, indexer, TimeProvider.System)
            : RecordStore.OpenPostgresAsync(Connection, SchemaOf(folder), indexer, TimeProvider.System, Partitions);
    }

    /// <summary>What the service has to be told in its environment.</summary>
    public Dictionary<string, string> SettingsFor(string folder) => Connection is null ? [] : new()
    {
        ["RehabRecords__Store__Engine"] = "postgresql",
        ["RehabRecords__Store__Connection"] = Connection,
        ["RehabRecords__Store__Schema"] = SchemaOf(folder),
        ["RehabRecords__Store__Partitions"] = Partitions.ToString(System.Globalization.CultureInfo.InvariantCulture),
    };

    /// <summary>Deletes the folder and what it stands for.</summary>
    public async Task DropAsync(string folder)
    {
        if (Directory.Exists(folder))
            Directory.Delete(folder, recursive: true);
        if (Connection is null)
            return;
        await using var connection = new NpgsqlConnection(Connection);
        await connection.OpenAsync();
        await using var drop = new NpgsqlCommand($"SET client_min_messages=warning; DROP SCHEMA IF EXISTS {SchemaOf(folder)} CASCADE", connection);
        await drop.ExecuteNonQueryAsync();
    }

    private static string SchemaOf(string folder) => "bench_" + new string([.. Path.GetFileName(folder).ToLowerInvariant().Where(char.IsAsciiLetterOrDigit)]);
}
