using Hl7.Fhir.Model;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Tests.Fhir.Store;

/// <summary>What is made of versions and kept for a while.</summary>
public abstract partial class RecordStoreContract
{
    private sealed record Reading(string Id, int Version, decimal Value);

    private readonly List<string> _made = [];

    private Reading Made(Observation result)
    {
        _made.Add($"{result.Id}/{result.VersionId}");
        return new Reading(result.Id!, int.Parse(result.VersionId!), ((Quantity)result.Value!).Value!.Value);
    }

    private async Task<List<Reading>> ReadingsAsync(RecordStore store, string person) =>
        [.. (await store.FindAsync("Observation", $"subject=Patient/{person}")).Select(v => store.ReadingOf<Observation, Reading>(v, Made))];

    [Fact]
    public async Task What_was_made_of_a_version_is_made_once_and_of_another_version_anew()
    {
        var person = (await Store.CreateAsync(Samples.Person())).Id;
        var (first, second) = (Samples.Result(person, 40), Samples.Result(person, 30));
        await Store.CreateAsync(first);
        await Store.CreateAsync(second);
        var before = await ReadingsAsync(Store, person);
        second.Value = new Quantity(29, "s", "http://unitsofmeasure.org");
        await Store.UpdateAsync(second, 1);
        var after = await ReadingsAsync(Store.View(), person);
        await Store.DeleteAsync("Observation", first.Id!, 1);

        Assert.Equal([(first.Id!, 1, 40m), (second.Id!, 1, 30m)], before.Select(r => (r.Id, r.Version, r.Value)));
        Assert.Equal([(first.Id!, 1, 40m), (second.Id!, 2, 29m)], after.Select(r => (r.Id, r.Version, r.Value)));
        Assert.Equal([(second.Id!, 2, 29m)], (await ReadingsAsync(Store, person)).Select(r => (r.Id, r.Version, r.Value)));
        Assert.Equal([$"{first.Id}/1", $"{second.Id}/1", $"{second.Id}/2"], _made);
    }

    [Fact]
    public async Task A_caller_limited_to_others_finds_nothing_that_was_made_for_somebody_else()
    {
        var person = (await Store.CreateAsync(Samples.Person())).Id;
        var other = (await Store.CreateAsync(Samples.Person())).Id;
        await Store.CreateAsync(Samples.Result(person, 40));
        Assert.Single(await ReadingsAsync(Store, person));

        Assert.Empty(await ReadingsAsync(Store.View(new HashSet<string> { other }), person));
    }

    [Fact]
    public async Task An_erasure_leaves_nothing_of_what_was_made()
    {
        var (gone, stays) = ((await Store.CreateAsync(Samples.Person())).Id, (await Store.CreateAsync(Samples.Person())).Id);
        await Store.CreateAsync(Samples.Result(gone, 40));
        var kept = (await Store.CreateAsync(Samples.Result(stays, 30))).Id;
        Assert.Single(await ReadingsAsync(Store, gone));
        Assert.Single(await ReadingsAsync(Store, stays));
        await Store.EraseAsync(Samples.Erasure(gone, Clock.GetUtcNow()));

        _made.Clear();
        Assert.Empty(await ReadingsAsync(Store, gone));
        Assert.Single(await ReadingsAsync(Store, stays));
        Assert.Equal([$"{kept}/1"], _made);
    }
}
