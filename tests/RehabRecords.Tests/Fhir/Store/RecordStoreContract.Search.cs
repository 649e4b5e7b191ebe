using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Search;
using RehabRecords.Fhir.Store;
using RehabRecords.Tests.Fhir.Search;

namespace RehabRecords.Tests.Fhir.Store;

public abstract partial class RecordStoreContract
{
    [Theory]
    [InlineData(1)]
    [InlineData(2)]
    [InlineData(3)]
    public async Task Random_searches_find_what_a_slow_reading_of_the_rules_finds_in_the_same_order(int seed)
    {
        var random = new RandomSearch(seed);
        var stored = new List<(Resource Resource, DateTimeOffset Updated)>();
        for (var i = 0; i < 12; i++)
        {
            var set = new WriteSet();
            var made = Enumerable.Range(0, 10).Select(_ => set.Create(random.Resource())).ToList();
            Clock.Now += random.Step();
            await Store.CommitAsync(set);
            stored.AddRange(made.Select(r => (r, Clock.Now)));
        }

        var hits = 0;
        for (var question = 0; question < 300; question++)
        {
            var (type, conditions) = random.Question();
            var sort = random.Sort(type);
            var expected = InOrder(stored.Where(s => s.Resource.TypeName == type && conditions.All(c => c.Holds(s.Resource))), sort).ToList();
            var query = string.Join('&', conditions.Select(c => c.Query).Append($"_sort={sort}").Append($"_count={random.Count()}"));

            var found = await Store.IdsAsync(type, query);

            Assert.True(expected.SequenceEqual(found), $"seed {seed}: {type}?{query} found {found.Count}, expected {expected.Count}");
            var total = await Store.SearchAsync(SearchQuery.Parse(Store.Parameters, type, query + "&_count=0"));
            Assert.Equal((expected.Count, 0), (total.Total, total.Matches.Count));
            hits += found.Count;
        }

        Assert.True(hits > 1000, $"Only {hits} hits: the questions ask for too little.");
    }

    [Fact]
    public async Task Updated_resources_are_found_by_what_they_are_now_and_not_by_what_they_were()
    {
        var patient = Samples.Person("old", "Before");
        await Store.CreateAsync(patient);
        patient.Name[0].Family = "After";
        patient.Identifier[0].Value = "new";
        await Store.UpdateAsync(patient, 1);

        Assert.Empty(await Store.IdsAsync("Patient", "family=before"));
        Assert.Empty(await Store.IdsAsync("Patient", "identifier=old"));
        Assert.Equal([patient.Id!], await Store.IdsAsync("Patient", $"family=after&identifier={Samples.System}|new"));
    }

    [Fact]
    public async Task Resources_are_found_by_when_they_were_last_updated()
    {
        var first = await Store.CreateAsync(Samples.Person());
        Clock.Now = Noon.AddHours(1);
        var second = await Store.CreateAsync(Samples.Person());

        Assert.Equal([second.Id], await Store.IdsAsync("Patient", "_lastUpdated=gt2026-03-01T12:30:00Z"));
        Assert.Equal([first.Id], await Store.IdsAsync("Patient", "_lastUpdated=lt2026-03-01T12:30:00Z"));
        Assert.Equal([first.Id, second.Id], await Store.IdsAsync("Patient", "_lastUpdated=2026-03-01"));
        Assert.Equal([second.Id, first.Id], await Store.IdsAsync("Patient", $"_id={first.Id},{second.Id}&_sort=-_lastUpdated"));
        Assert.Equal([first.Id], await Store.IdsAsync("Patient", "_lastUpdated=2026-03-01T12:00:00.000Z"));
    }

    [Fact]
    public async Task Approximate_dates_widen_with_their_distance_from_now()
    {
        Clock.Now = new DateTimeOffset(2026, 3, 11, 0, 0, 0, TimeSpan.Zero);
        var near = await Store.CreateAsync(Samples.Result("1", 1, "2026-03-01T12:00:00Z"));
        await Store.CreateAsync(Samples.Result("1", 1, "2026-03-04T12:00:00Z"));
        Assert.Equal([near.Id], await Store.IdsAsync("Observation", "date=ap2026-03-02"));
    }

    [Fact]
    public async Task Pages_follow_one_another_without_repeat_or_gap_while_others_write()
    {
        var before = new List<string>();
        for (var i = 0; i < 25; i++)
            before.Add((await Store.CreateAsync(Samples.Result("1", i, $"2026-03-{i + 1:00}"))).Id);
        var seen = new List<string>();
        string? cursor = null;
        do
        {
            var page = await Store.SearchAsync(SearchQuery.Parse(Store.Parameters, "Observation", "subject=Patient/1&_sort=-date&_count=4") with { Cursor = cursor });
            Assert.True(page.Matches.Count <= 4);
            seen.AddRange(page.Matches.Select(m => m.Id));
            cursor = page.Next;
            await Store.CreateAsync(Samples.Result("1", 99, "2026-04-01"));
        }
        while (cursor is not null);

        Assert.Equal(Enumerable.Reverse(before), seen);
    }

    [Fact]
    public async Task A_resource_with_several_dates_is_sorted_by_its_earliest_or_in_reverse_by_its_latest()
    {
        async Task<string> Note(params string[] days) => (await Store.CreateAsync(new Composition
        {
            Event = [.. days.Select(d => new Composition.EventComponent { Period = new Period { Start = d, End = d } })],
        })).Id;
        var around = await Note("2026-03-09", "2026-03-01");
        var between = await Note("2026-03-05");
        var undated = await Note();

        Assert.Equal([around, between, undated], await Store.IdsAsync("Composition", "_sort=period&_count=2"));
        Assert.Equal([around, between, undated], await Store.IdsAsync("Composition", "_sort=-period&_count=1"));
    }

    [Theory]
    [InlineData("nonsense")]
    [InlineData("W10")]
    [InlineData("")]
    public async Task A_cursor_that_no_search_gave_is_refused(string cursor)
    {
        var query = SearchQuery.Parse(Store.Parameters, "Patient", "") with { Cursor = cursor };
        Assert.Equal(Refusal.Malformed, (await Assert.ThrowsAsync<RefusedException>(() => Store.SearchAsync(query))).Refusal);
    }

    [Fact]
    public async Task A_cursor_of_another_search_is_refused()
    {
        for (var i = 0; i < 3; i++)
            await Store.CreateAsync(Samples.Person());
        var page = await Store.SearchAsync(SearchQuery.Parse(Store.Parameters, "Patient", "family=example&_count=1"));
        var other = SearchQuery.Parse(Store.Parameters, "Patient", $"family=other&_count=1&{SearchQuery.CursorName}={page.Next}");
        await Assert.ThrowsAsync<RefusedException>(() => Store.SearchAsync(other));
    }

    [Fact]
    public async Task Totals_are_given_when_asked_for_or_known_anyway()
    {
        for (var i = 0; i < 5; i++)
            await Store.CreateAsync(Samples.Person());
        async Task<long?> Total(string query) => (await Store.SearchAsync(SearchQuery.Parse(Store.Parameters, "Patient", query))).Total;

        Assert.Equal([5L, null, 5L, 5L], [await Total(""), await Total("_count=2"), await Total("_count=2&_total=accurate"), await Total("_count=0")]);
    }

    [Fact]
    public async Task Resources_referred_to_and_referring_come_along_once_and_only_on_their_page()
    {
        var patient = await Store.CreateAsync(Samples.Person());
        var plan = await Store.CreateAsync(new CarePlan { Subject = new ResourceReference(patient.Address) });
        var results = new List<RecordVersion>();
        for (var i = 0; i < 3; i++)
            results.Add(await Store.CreateAsync(Samples.Result(patient.Id, i)));

        var forward = await Store.SearchAsync(SearchQuery.Parse(Store.Parameters, "Observation", "code=pegs&_include=Observation:subject"));
        Assert.Equal((3, patient.Address), (forward.Matches.Count, Assert.Single(forward.Included).Address));

        var reverse = await Store.SearchAsync(SearchQuery.Parse(
            Store.Parameters, "Patient", $"_id={patient.Id}&_revinclude=Observation:subject&_revinclude=CarePlan:subject&_revinclude=Observation:subject:Group"));
        Assert.Equal(results.Append(plan).Select(r => r.Address).Order(StringComparer.Ordinal), reverse.Included.Select(r => r.Address).Order(StringComparer.Ordinal));

        var kept = await Assert.ThrowsAsync<RefusedException>(() => Store.DeleteAsync("Patient", patient.Id, 1));
        Assert.Equal(Refusal.Conflict, kept.Refusal);
        Assert.Single((await Store.SearchAsync(SearchQuery.Parse(Store.Parameters, "Observation", "_include=Observation:subject:Patient"))).Included);
    }

    [Fact]
    public async Task Words_meant_to_break_out_of_a_query_are_only_words()
    {
        await Store.CreateAsync(Samples.Person(family: "O'Hara; DROP TABLE resource --"));
        Assert.Single(await Store.IdsAsync("Patient", "family=" + Uri.EscapeDataString("o'hara; drop table resource --")));
        Assert.Empty(await Store.IdsAsync("Patient", "family=" + Uri.EscapeDataString("x' OR '1'='1")));
        Assert.Single(await Store.FindAsync("Patient", ""));
    }

    private static IEnumerable<string> InOrder(IEnumerable<(Resource Resource, DateTimeOffset Updated)> found, string sort)
    {
        var ordered = found.Order(Comparer<(Resource Resource, DateTimeOffset Updated)>.Create((_, _) => 0));
        foreach (var key in sort.Split(',', StringSplitOptions.RemoveEmptyEntries))
        {
            var descending = key[0] == '-';
            IComparable Key((Resource Resource, DateTimeOffset Updated) row) => key.TrimStart('-') switch
            {
                "_id" => new Ordinal(row.Resource.Id!),
                "_lastUpdated" => row.Updated,
                _ => DateKey(row.Resource, descending),
            };
            ordered = descending ? ordered.ThenByDescending(Key) : ordered.ThenBy(Key);
        }

        return ordered.Select(o => o.Resource.Id!);
    }

    private static DateTime DateKey(Resource resource, bool descending)
    {
        var element = resource switch { Observation o => o.Effective, Patient p => p.BirthDateElement, _ => (DataType?)((ActivityDefinition)resource).DateElement };
        var spans = SlowSearch.Spans(element).ToList();
        if (spans.Count == 0)
            return descending ? DateTime.MinValue : DateTime.MaxValue;
        return descending ? spans.Max(s => s.To) : spans.Min(s => s.From);
    }

    private sealed record Ordinal(string Text) : IComparable
    {
        public int CompareTo(object? other) => string.CompareOrdinal(Text, ((Ordinal)other!).Text);
    }
}
