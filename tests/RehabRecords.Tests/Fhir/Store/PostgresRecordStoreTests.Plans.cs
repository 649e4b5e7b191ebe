using System.Globalization;
using System.Text.RegularExpressions;
using RehabRecords.Fhir.Search;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Tests.Fhir.Store;

/// <summary>How searches about one person are answered: from the person's part of the tables, and no more of it than a page needs.</summary>
public sealed partial class PostgresRecordStoreTests
{
    private const int PageSize = 51;

    [OnPostgresql]
    public async Task A_search_about_one_person_reads_one_part_of_each_table_and_the_latest_no_further_than_the_page()
    {
        var store = await OpenAsync();
        var people = new WriteSet();
        for (var i = 0; i < 8; i++)
            people.Create(Samples.Person($"n{i}"));
        await store.CommitAsync(people);
        var ids = await store.IdsAsync("Patient", "_count=8");
        foreach (var id in ids)
        {
            var set = new WriteSet();
            for (var i = 0; i < 300; i++)
                set.Create(Samples.Result(id, i, $"2026-03-{1 + (i % 28):00}T10:{i / 28:00}:00Z"));
            await store.CommitAsync(set);
        }

        TestEngine.Run($"ANALYZE {_schema}.token_row, {_schema}.date_row, {_schema}.reference_row, {_schema}.resource");
        foreach (var (query, latest) in new[]
        {
            ($"patient={ids[0]}&_sort=-date", true),
            ($"patient={ids[0]}&code=pegs&_sort=-date", true),
            ($"subject=Patient/{ids[1]}&category=therapy&status=final&_sort=-date", true),
            ("patient.identifier=" + Samples.System + "|n2&_sort=-date", true),
            ($"patient={ids[3]}&code=pegs", false),
            ($"patient={ids[4]}&code=pegs&_sort=date", false),
            ("patient.identifier=" + Samples.System + "|n5&status=final", false),
        })
            foreach (var plan in await ExecutedAsync(store, query))
            {
                var parts = plan.SelectMany(l => Part().Matches(l)).Select(m => m.Groups[1].Value).Distinct().ToList();
                Assert.True(parts.Count <= 1, $"{query} reads the parts {string.Join(" and ", parts)}:\n{string.Join('\n', plan)}");
                if (latest)
                    Assert.All(plan.Where(l => l.Contains("on date_row", StringComparison.Ordinal)), l => Assert.InRange(int.Parse(ActualRows().Match(l).Groups[1].Value, CultureInfo.InvariantCulture), 0, PageSize + 28));
            }
    }

    /// <summary>The steps of each statement of a search that were executed.</summary>
    private static async Task<List<List<string>>> ExecutedAsync(RecordStore store, string query)
    {
        var parsed = SearchQuery.Parse(store.Parameters, "Observation", query);
        return await store.Readers.ReadAsync(
            s => SearchReads.Statements(s, parsed, Noon).ToList().ConvertAll(one => s.Rows("EXPLAIN (ANALYZE, COSTS OFF, TIMING OFF) " + one.Sql, r => r.GetString(0), one.Values).Where(l => ActualRows().IsMatch(l)).ToList()),
            default);
    }

    [GeneratedRegex(@" on (?:token|date|reference)_row_([0-9]+) ")]
    private static partial Regex Part();

    [GeneratedRegex(@"\(actual rows=([0-9]+) loops=[1-9]")]
    private static partial Regex ActualRows();
}
