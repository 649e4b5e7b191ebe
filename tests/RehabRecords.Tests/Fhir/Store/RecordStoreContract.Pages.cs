using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Search;
using RehabRecords.Fhir.Store;
using RehabRecords.Tests.Fhir.Search;

namespace RehabRecords.Tests.Fhir.Store;

public abstract partial class RecordStoreContract
{
    [Theory]
    [InlineData("")]
    [InlineData("_sort=date")]
    [InlineData("_sort=-date")]
    [InlineData("_sort=-date,code")]
    [InlineData("_sort=code,-date")]
    [InlineData("_sort=value-quantity")]
    [InlineData("_sort=-value-quantity,_id")]
    [InlineData("_sort=-_lastUpdated")]
    [InlineData("_sort=-code&status=final")]
    [InlineData("_sort=date&subject=Patient/1")]
    public async Task Pages_are_walked_forward_and_back_again_the_same_while_others_write(string query)
    {
        var random = new RandomSearch(7);
        for (var i = 0; i < 60; i++)
        {
            Clock.Now += random.Step();
            await Store.CreateAsync(random.Resource());
        }

        var whole = await Store.IdsAsync("Observation", query + "&_count=1000");
        Assert.NotEmpty(whole);
        var forward = new List<SearchPage>();
        string? cursor = null;
        do
        {
            forward.Add(await At(cursor));
            cursor = forward[^1].Next;
            // Comes last or first by every key, or in between: it must push none of the others out of its place.
            await Store.CreateAsync(new Patient());
        }
        while (cursor is not null);
        Assert.Equal(whole, forward.SelectMany(p => p.Matches).Select(m => m.Id));
        Assert.Null(forward[0].Previous);

        for (var i = forward.Count - 1; i > 0; i--)
        {
            var back = await At(forward[i].Previous);
            Assert.Equal(forward[i - 1].Matches.Select(m => m.Id), back.Matches.Select(m => m.Id));
            Assert.Equal(i > 1, back.Previous is not null);
            Assert.Equal(forward[i].Matches.Select(m => m.Id), (await At(back.Next)).Matches.Select(m => m.Id));
        }

        Task<SearchPage> At(string? place) => Store.SearchAsync(SearchQuery.Parse(Store.Parameters, "Observation", query + "&_count=7") with { Cursor = place });
    }

    [Fact]
    public async Task Sorting_takes_the_parameters_of_every_kind_and_puts_last_what_has_no_value()
    {
        async Task Add(string id, string? family, string? born) =>
            await Store.CreateAsync(new Patient { Id = id, Name = family is null ? [] : [new() { Family = family }], BirthDate = born });
        await Add("a", "Öberg", "1950");
        await Add("b", "adams", "1951");
        await Add("c", null, "1949");
        await Add("d", "Adams", null);

        Assert.Equal(["b", "d", "a", "c"], await Store.IdsAsync("Patient", "_sort=family"));
        Assert.Equal(["a", "b", "d", "c"], await Store.IdsAsync("Patient", "_sort=-family&_count=2"));
        Assert.Equal(["d", "b", "a", "c"], await Store.IdsAsync("Patient", "_sort=family,-_id&_count=1"));
        Assert.Equal(["c", "a", "b", "d"], await Store.IdsAsync("Patient", "_sort=birthdate&_count=1"));
        Assert.Equal(["b", "a", "c", "d"], await Store.IdsAsync("Patient", "_sort=-birthdate&_count=3"));
    }

    /// <summary>Short pages come with their resources; those of long ones are fetched by and by.</summary>
    [Theory]
    [InlineData("_count=50")]
    [InlineData("_count=64")]
    [InlineData("_count=65")]
    [InlineData("_count=1000")]
    public async Task A_page_ends_at_its_bytes_and_goes_on_from_there(string asked)
    {
        var ids = new List<string>();
        for (var i = 0; i < 6; i++)
            ids.Add((await Store.CreateAsync(new Patient { Name = [new() { Family = new string('x', 1000) }] })).Id);
        var query = SearchQuery.Parse(Store.Parameters, "Patient", $"_total=accurate&{asked}") with { PageBytes = 2500 };

        var seen = new List<List<string>>();
        string? cursor = null;
        do
        {
            var page = await Store.SearchAsync(query with { Cursor = cursor });
            Assert.Equal(6, page.Total);
            seen.Add([.. page.Matches.Select(m => m.Id)]);
            cursor = page.Next;
        }
        while (cursor is not null);
        Assert.Equal(ids, seen.SelectMany(s => s));
        Assert.All(seen, s => Assert.Equal(2, s.Count));

        Assert.Single((await Store.SearchAsync(query with { PageBytes = 10 })).Matches);
    }

    [Fact]
    public async Task What_is_sent_along_counts_too_and_makes_the_page_shorter_not_incomplete()
    {
        for (var person = 0; person < 4; person++)
        {
            await Store.CreateAsync(new Patient { Id = $"p{person}" });
            for (var i = 0; i < 3; i++)
                await Store.CreateAsync(Samples.Result($"p{person}", i));
        }

        var size = (await PageAsync("Patient", "_id=p0&_revinclude=Observation:patient")).Included.Sum(v => v.Json.Length);
        var query = SearchQuery.Parse(Store.Parameters, "Patient", "_revinclude=Observation:patient") with { PageBytes = 3 * size };
        var first = await Store.SearchAsync(query);
        var second = await Store.SearchAsync(query with { Cursor = first.Next });

        Assert.Equal(["p0", "p1", "p2", "p3"], first.Matches.Concat(second.Matches).Select(m => m.Id));
        Assert.Equal((6, 6), (first.Included.Count, second.Included.Count));
        Assert.Equal(Refusal.TooLarge, (await Assert.ThrowsAsync<RefusedException>(() => Store.SearchAsync(query with { PageBytes = size / 2 }))).Refusal);
    }

    [Fact]
    public async Task A_carer_of_two_people_has_one_identifier_for_both_but_only_once_for_each()
    {
        static RelatedPerson Carer(string person) => new() { Patient = new($"Patient/{person}"), Identifier = [new(Samples.System, "carer")] };
        var one = await Store.CreateAsync(Carer("p1"));
        var two = await Store.CreateAsync(Carer("p2"));

        Assert.Equal(Refusal.Conflict, (await Assert.ThrowsAsync<RefusedException>(() => Store.CreateAsync(Carer("p1")))).Refusal);
        Assert.Equal((one.Id, two.Id), (await Store.HolderOfAsync("RelatedPerson", Samples.System, "carer", "p1"), await Store.HolderOfAsync("RelatedPerson", Samples.System, "carer", "p2")));
        Assert.Null(await Store.HolderOfAsync("RelatedPerson", Samples.System, "carer", "p3"));
        var ambiguous = await Assert.ThrowsAsync<RefusedException>(() => Store.HolderOfAsync("RelatedPerson", Samples.System, "carer"));
        Assert.Equal(Refusal.Ambiguous, ambiguous.Refusal);
        Assert.Contains($"RelatedPerson/{one.Id}", ambiguous.Message, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_reference_to_what_was_deleted_meanwhile_is_refused_and_nothing_of_its_set_is_stored()
    {
        var patient = await Store.CreateAsync(Samples.Person());
        var result = Samples.Result(patient.Id, 1);
        await Store.DeleteAsync("Patient", patient.Id, 1);
        var set = new WriteSet();
        set.Create(new Organization { Id = "o1" });
        set.Create(result);

        var refused = await Assert.ThrowsAsync<RefusedException>(() => Store.CommitAsync(set));
        Assert.Equal(Refusal.Conflict, refused.Refusal);
        Assert.Contains($"{patient.Address}, which Observation/{result.Id} refers to, was deleted", refused.Message, StringComparison.Ordinal);
        Assert.Null(await Store.ReadAsync("Organization", "o1"));

        // The version that was there can still be read, and a log may name what is gone.
        await Store.CreateAsync(Samples.Result($"{patient.Id}/_history/1", 1));
        await Store.CreateAsync(new AuditEvent { Entity = [new() { What = new(patient.Address) }] });
    }

    [Fact]
    public async Task Deleting_and_referring_at_the_same_time_never_both_succeed()
    {
        for (var round = 0; round < 20; round++)
        {
            var patient = await Store.CreateAsync(Samples.Person());
            var done = await Task.WhenAll(
                Task.Run(() => Succeeds(() => Store.DeleteAsync("Patient", patient.Id, 1))),
                Task.Run(() => Succeeds(() => Store.CreateAsync(Samples.Result(patient.Id, 1)))));
            Assert.Equal(1, done.Count(d => d));
        }
    }

    private static async Task<bool> Succeeds(Func<Task> write)
    {
        try
        {
            await write();
            return true;
        }
        catch (RefusedException refused) when (refused.Refusal == Refusal.Conflict)
        {
            return false;
        }
    }
}
