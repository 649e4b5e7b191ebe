using Hl7.Fhir.Model;
using Microsoft.Data.Sqlite;
using RehabRecords.Fhir.Search;
using RehabRecords.Fhir.Store;
using Xunit.Abstractions;

namespace RehabRecords.Tests.Fhir.Store;

/// <summary>How the engine means to answer: what a page does not need must not be read, and nothing large be sorted.</summary>
public sealed class SqlitePlanTests(ITestOutputHelper output) : IAsyncLifetime
{
    private readonly string _folder = Directory.CreateTempSubdirectory("plans-").FullName;
    private RecordStore _store = null!;

    public async Task InitializeAsync()
    {
        _store = await RecordStore.OpenSqliteAsync(_folder, TestIndex.Indexer, new SetClock(new DateTimeOffset(2026, 3, 1, 12, 0, 0, TimeSpan.Zero)));
        var people = new WriteSet();
        people.Create(Samples.Person("one"));
        people.Create(Samples.Person("two"));
        await _store.CommitAsync(people);
        // Many enough that neither of these filters is worth sorting for.
        for (var chunk = 0; chunk < 25; chunk++)
        {
            var set = new WriteSet();
            for (var i = 0; i < 100; i++)
                set.Create(Samples.Result((i % 50).ToString(), i, $"2026-03-{1 + (i % 28):00}T10:{chunk:00}:00Z"));
            await _store.CommitAsync(set);
        }

        // And one who practised long.
        var much = new WriteSet();
        for (var i = 0; i < 250; i++)
            much.Create(Samples.Result("long", i, $"2026-03-{1 + (i % 28):00}T11:{i / 28:00}:00Z"));
        await _store.CommitAsync(much);
    }

    public async Task DisposeAsync()
    {
        await _store.DisposeAsync();
        Directory.Delete(_folder, recursive: true);
    }

    [Theory]
    [InlineData("Observation", "_sort=date", "date_by_start", null)]
    [InlineData("Observation", "_sort=-date", "date_by_finish", "LAST TERM")]
    [InlineData("Observation", "_sort=-date&status=final", "date_by_finish", "LAST TERM")]
    [InlineData("Observation", "_sort=-date&category=therapy&code=pegs", "date_by_finish", "LAST TERM")]
    [InlineData("Observation", "_sort=-date&subject=Patient/1", "date_of_person", "LAST TERM")]
    [InlineData("Observation", "_sort=-date&patient=1", "date_of_person", "LAST TERM")]
    [InlineData("Observation", "_sort=-date&patient=long&code=pegs&status=final", "date_of_person", "LAST TERM")]
    [InlineData("Observation", "_sort=-date&patient.identifier=https://clinic.example/ids|one", "date_of_person", "LAST TERM")]
    [InlineData("Observation", "_sort=date,-_lastUpdated", "date_by_start", "LAST 2 TERMS")]
    [InlineData("Observation", "_sort=-_lastUpdated", "resource_by_time", "LAST TERM")]
    [InlineData("Observation", "_sort=-_lastUpdated&status=final", "resource_by_time", "LAST TERM")]
    [InlineData("Observation", "", "resource_of_type", null)]
    [InlineData("Observation", "status=final", "token_by_code", null)]
    [InlineData("Observation", "subject=Patient/1", "reference_by_target", null)]
    public async Task A_page_is_read_from_an_index_in_its_order(string type, string query, string index, string? sorts)
    {
        var plan = (await PlansAsync(type, query))[0];
        output.WriteLine(string.Join('\n', plan));
        Assert.Contains(index, plan.First(l => l.StartsWith("SEARCH", StringComparison.Ordinal) || l.StartsWith("SCAN", StringComparison.Ordinal)), StringComparison.Ordinal);
        var sorting = plan.Where(l => l.Contains("ORDER BY", StringComparison.Ordinal)).ToList();
        if (sorts is null)
            Assert.Empty(sorting);
        else
            // Within rows of the same date only.
            Assert.Contains(sorts, Assert.Single(sorting), StringComparison.Ordinal);
    }

    [Theory]
    [InlineData("Observation", "_sort=date&subject=Patient/1", "reference_by_target")]
    [InlineData("Observation", "_sort=-date&subject=Patient/1,Patient/2", "reference_by_target")]
    [InlineData("Observation", "_sort=-date&patient=1&status=final", "reference_by_target")]
    [InlineData("Observation", "_sort=-date&patient.family=example", "reference_by_target")]
    [InlineData("Patient", "_has:Observation:patient:code=pegs", "token_by_code")]
    [InlineData("Observation", "code-value-quantity=pegs$5", "pair_by_code")]
    [InlineData("Observation", "value-quantity=5", "quantity_by_value")]
    [InlineData("Patient", "family=ex", "string_by_folded")]
    [InlineData("ActivityDefinition", "url=urn:x", "uri_by_value")]
    public async Task A_search_begins_with_what_leaves_the_fewest(string type, string query, string index)
    {
        var plans = await PlansAsync(type, query);
        output.WriteLine(string.Join('\n', plans.SelectMany(p => p)));
        Assert.Contains(Assert.Single(plans), l => l.Contains(index, StringComparison.Ordinal));
        Assert.DoesNotContain(plans[0], l => l.StartsWith("SCAN r", StringComparison.Ordinal));
    }

    private async Task<List<List<string>>> PlansAsync(string type, string query)
    {
        var parsed = SearchQuery.Parse(_store.Parameters, type, query);
        var statements = await _store.Writers.EnqueueAsync(s => SearchReads.Statements(s, parsed, DateTimeOffset.UnixEpoch).ToList(), default);
        await using var connection = new SqliteConnection($"Data Source={Path.Combine(_folder, "records.db")};Pooling=False;Mode=ReadOnly");
        await connection.OpenAsync();
        var plans = new List<List<string>>();
        foreach (var (sql, values) in statements)
        {
            await using var command = connection.CreateCommand();
            command.CommandText = "EXPLAIN QUERY PLAN " + sql;
            for (var i = 0; i < values.Length; i++)
                command.Parameters.AddWithValue($"@p{i}", values[i]);
            var plan = new List<string>();
            await using var reader = await command.ExecuteReaderAsync();
            while (await reader.ReadAsync())
                plan.Add(reader.GetString(3));
            plans.Add(plan);
        }

        return plans;
    }
}
