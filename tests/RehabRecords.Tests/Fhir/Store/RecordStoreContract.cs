using System.Text;
using System.Text.Json;
using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Search;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Tests.Fhir.Store;

/// <summary>What every engine promises. An engine's tests derive from it and say only how a store of theirs is opened.</summary>
public abstract partial class RecordStoreContract : IAsyncLifetime
{
    protected static readonly DateTimeOffset Noon = new(2026, 3, 1, 12, 0, 0, TimeSpan.Zero);

    private RecordStore? _store;

    protected RecordStore Store => _store!;

    internal SetClock Clock { get; } = new(Noon);

    public async Task InitializeAsync() => _store = await OpenAsync(TestIndex.Indexer, Clock);

    public async Task DisposeAsync()
    {
        await Store.DisposeAsync();
        await CleanUpAsync();
    }

    /// <summary>Opens the store of this test, with all that was written to it before.</summary>
    protected abstract Task<RecordStore> OpenAsync(SearchIndexer indexer, TimeProvider clock);

    protected abstract Task CleanUpAsync();

    protected async Task ReopenAsync(SearchIndexer? indexer = null)
    {
        await Store.DisposeAsync();
        _store = await OpenAsync(indexer ?? TestIndex.Indexer, Clock);
    }

    [Fact]
    public async Task What_is_read_is_the_stored_bytes_with_version_and_time_in_them()
    {
        var patient = Samples.Person();
        var written = await Store.CreateAsync(patient);
        var read = await Store.ReadAsync("Patient", patient.Id!);

        Assert.Equal(written with { Json = default }, read! with { Json = default });
        Assert.Equal(written.Json.ToArray(), read!.Json.ToArray());
        Assert.Equal((1, false, Noon), (read.Version, read.Deleted, read.LastUpdated));
        using var json = JsonDocument.Parse(read.Json);
        Assert.Equal("1", json.RootElement.GetProperty("meta").GetProperty("versionId").GetString());
        Assert.Equal(Noon, json.RootElement.GetProperty("meta").GetProperty("lastUpdated").GetDateTimeOffset());
        Assert.Equal("Example", json.RootElement.GetProperty("name")[0].GetProperty("family").GetString());
    }

    [Fact]
    public async Task What_was_never_stored_is_not_found()
    {
        Assert.Null(await Store.ReadAsync("Patient", "nobody"));
        Assert.Null(await Store.ReadVersionAsync("Patient", "nobody", 1));
        Assert.Empty(await Store.HistoryAsync("Patient", "nobody"));
        Assert.Null(await Store.HolderOfAsync("Patient", Samples.System, "none"));
        Assert.Null(await Store.AnswerOfAsync(Samples.Key()));
        Assert.Null(await Store.GetAsync<Patient>("nobody"));
    }

    [Fact]
    public async Task Every_version_is_kept_and_history_is_newest_first()
    {
        var patient = Samples.Person(family: "First");
        await Store.CreateAsync(patient);
        patient.Name[0].Family = "Second";
        await Store.UpdateAsync(patient, 1);
        await Store.DeleteAsync("Patient", patient.Id!, 2);
        patient.Name[0].Family = "Fourth";
        await Store.UpdateAsync(patient, 3);

        var history = await Store.HistoryAsync("Patient", patient.Id!);
        Assert.Equal([4, 3, 2, 1], history.Select(h => h.Version));
        Assert.Equal([false, true, false, false], history.Select(h => h.Deleted));
        Assert.True(history[1].Json.IsEmpty);
        Assert.Contains("First", Encoding.UTF8.GetString((await Store.ReadVersionAsync("Patient", patient.Id!, 1))!.Json.Span), StringComparison.Ordinal);
        Assert.True((await Store.ReadVersionAsync("Patient", patient.Id!, 3))!.Deleted);
        Assert.Null(await Store.ReadVersionAsync("Patient", patient.Id!, 5));
        Assert.Equal(4, (await Store.ReadAsync("Patient", patient.Id!))!.Version);
    }

    [Fact]
    public async Task A_deleted_resource_is_read_as_deleted_and_found_by_no_search()
    {
        var patient = Samples.Person("1");
        await Store.CreateAsync(patient);
        await Store.DeleteAsync("Patient", patient.Id!, 1);

        Assert.True((await Store.ReadAsync("Patient", patient.Id!))!.Deleted);
        Assert.Null(await Store.GetAsync<Patient>(patient.Id!));
        Assert.Empty(await Store.FindAsync("Patient", ""));
        Assert.Empty(await Store.FindAsync("Patient", $"_id={patient.Id!}"));
        Assert.Empty(await Store.FindAsync("Patient", "identifier=1"));
        Assert.Null(await Store.HolderOfAsync("Patient", Samples.System, "1"));
        var again = await Assert.ThrowsAsync<RefusedException>(() => Store.DeleteAsync("Patient", patient.Id!, 2));
        Assert.Equal(Refusal.Gone, again.Refusal);
    }

    [Fact]
    public async Task What_is_referred_to_is_deleted_only_together_with_what_refers_to_it()
    {
        var patient = Samples.Person();
        await Store.CreateAsync(patient);
        var result = Samples.Result(patient.Id!, 40);
        await Store.CreateAsync(result);

        var refused = await Assert.ThrowsAsync<RefusedException>(() => Store.DeleteAsync("Patient", patient.Id!, 1));
        Assert.Equal(Refusal.Conflict, refused.Refusal);
        Assert.Contains($"referred to by Observation/{result.Id}", refused.Message, StringComparison.Ordinal);
        Assert.False((await Store.ReadAsync("Patient", patient.Id!))!.Deleted);

        var both = new WriteSet();
        both.Delete("Patient", patient.Id!, 1);
        both.Delete("Observation", result.Id!, 1);
        await Store.CommitAsync(both);
        Assert.True((await Store.ReadAsync("Patient", patient.Id!))!.Deleted);
    }

    [Fact]
    public async Task A_resource_is_deleted_once_nothing_current_refers_to_it()
    {
        var (first, second) = (Samples.Person(), Samples.Person());
        await Store.CreateAsync(first);
        await Store.CreateAsync(second);
        var result = Samples.Result(first.Id!, 40);
        await Store.CreateAsync(result);
        result.Subject = new ResourceReference($"Patient/{second.Id}");
        await Store.UpdateAsync(result, 1);

        await Store.DeleteAsync("Patient", first.Id!, 1);
        await Assert.ThrowsAsync<RefusedException>(() => Store.DeleteAsync("Patient", second.Id!, 1));
    }

    [Fact]
    public async Task A_write_that_states_another_version_than_the_current_one_is_refused_and_told_the_current_one()
    {
        var patient = Samples.Person();
        await Store.CreateAsync(patient);
        await Store.UpdateAsync(patient, 1);

        foreach (var (stated, says) in new[] { (0, "exists already, at version 2"), (1, "is at version 2, not 1"), (3, "is at version 2, not 3") })
        {
            var refused = await Assert.ThrowsAsync<RefusedException>(() => Store.UpdateAsync(patient, stated));
            Assert.Equal(Refusal.StaleVersion, refused.Refusal);
            Assert.Contains(says, refused.Message, StringComparison.Ordinal);
        }

        var unknown = await Assert.ThrowsAsync<RefusedException>(() => Store.DeleteAsync("Patient", "nobody", 1));
        Assert.Equal(Refusal.StaleVersion, unknown.Refusal);
        Assert.Equal(2, (await Store.HistoryAsync("Patient", patient.Id!)).Count);
    }

    [Fact]
    public async Task A_set_that_fails_in_its_last_write_leaves_nothing_at_all()
    {
        await Store.CreateAsync(Samples.Person("taken"));
        var before = await Store.FindAsync("Patient", "");
        var set = new WriteSet { Key = Samples.Key(), Answer = new StoredAnswer(201, "x", default) };
        var first = set.Create(Samples.Person("free"));
        set.Create(Samples.Result(first.Id!, 20));
        set.Create(Samples.Person("taken"));

        var refused = await Assert.ThrowsAsync<RefusedException>(() => Store.CommitAsync(set));

        Assert.Equal(Refusal.Conflict, refused.Refusal);
        Assert.Equal(before.Select(b => b.Id), (await Store.FindAsync("Patient", "")).Select(p => p.Id));
        Assert.Empty(await Store.FindAsync("Observation", ""));
        Assert.Empty(await Store.HistoryAsync("Patient", first.Id!));
        Assert.Null(await Store.HolderOfAsync("Patient", Samples.System, "free"));
        Assert.Null(await Store.AnswerOfAsync(Samples.Key()));
    }

    [Fact]
    public async Task A_resource_may_be_written_only_once_in_a_set()
    {
        var set = new WriteSet();
        var patient = set.Create(Samples.Person());
        set.Update(patient, 1);
        var refused = await Assert.ThrowsAsync<RefusedException>(() => Store.CommitAsync(set));
        Assert.Equal(Refusal.Malformed, refused.Refusal);
    }

    [Fact]
    public async Task A_resource_whose_clock_was_set_back_does_not_grow_younger()
    {
        var patient = Samples.Person();
        await Store.CreateAsync(patient);
        Clock.Now = Noon.AddHours(-1);
        var second = await Store.UpdateAsync(patient, 1);
        Clock.Now = Noon.AddMinutes(1);
        var third = await Store.UpdateAsync(patient, 2);

        Assert.Equal((Noon, Noon.AddMinutes(1)), (second.LastUpdated, third.LastUpdated));
        using var json = JsonDocument.Parse(second.Json);
        Assert.Equal(Noon, json.RootElement.GetProperty("meta").GetProperty("lastUpdated").GetDateTimeOffset());
    }

    [Theory]
    [InlineData(10)]
    [InlineData(1023)]
    [InlineData(1024)]
    [InlineData(300_000)]
    public async Task A_kept_answer_is_given_again_as_it_was_and_a_long_one_takes_little_room(int length)
    {
        var body = Encoding.UTF8.GetBytes(string.Concat(Enumerable.Range(0, length).Select(i => $"Observation/{i} ")))[..length];
        var set = new WriteSet { Key = Samples.Key(), Answer = new StoredAnswer(201, "Patient/1", body) };
        set.Create(Samples.Person());
        await Store.CommitAsync(set);
        await ReopenAsync();

        Assert.Equal(body, (await Store.AnswerOfAsync(Samples.Key()))!.Body.ToArray());
        var kept = await Store.Readers.ReadAsync(s => Convert.ToInt64(s.One("SELECT length(body) FROM answer")!, System.Globalization.CultureInfo.InvariantCulture), default);
        Assert.True(length < 1024 ? kept == length : kept < length / 2, $"{kept} bytes");
    }

    [Fact]
    public async Task An_answer_that_was_kept_before_answers_were_packed_is_given_as_it_was()
    {
        var body = Encoding.UTF8.GetBytes(new string('x', 5000));
        await Store.Writers.EnqueueAsync(
            s => s.Run("INSERT INTO answer (client, key, hash, status, location, body, made) VALUES (@p0, @p1, @p2, 201, 'Patient/1', @p3, 0)", "notes", "k1", "aa", body), default);

        Assert.Equal(body, (await Store.AnswerOfAsync(Samples.Key()))!.Body.ToArray());
    }

    [Fact]
    public async Task What_was_committed_is_there_after_opening_again()
    {
        var set = new WriteSet { Key = Samples.Key(), Answer = new StoredAnswer(201, "Patient/1", "body"u8.ToArray()) };
        var patient = set.Create(Samples.Person("1"));
        set.Create(Samples.Result(patient.Id!, 21));
        var written = await Store.CommitAsync(set);

        await ReopenAsync();

        Assert.Equal(written.Written[0].Json.ToArray(), (await Store.ReadAsync("Patient", patient.Id!))!.Json.ToArray());
        Assert.Equal(patient.Id!, await Store.HolderOfAsync("Patient", Samples.System, "1"));
        Assert.Single(await Store.FindAsync("Observation", $"subject=Patient/{patient.Id!}"));
        Assert.Equal("body", Encoding.UTF8.GetString((await Store.AnswerOfAsync(Samples.Key()))!.Body.Span));
        var next = await Store.CreateAsync(Samples.Person());
        Assert.True(next.Sequence > written.Written.Max(w => w.Sequence));
    }

    [Fact]
    public async Task An_index_made_by_other_definitions_is_made_again_when_opened()
    {
        var patient = Samples.Person(family: "Reindexed");
        await ReopenAsync(TestIndex.IndexerOf(d => d.Code == "gender"));
        await Store.CreateAsync(patient);
        Assert.Throws<RefusedException>(() => SearchQuery.Parse(Store.Parameters, "Patient", "family=Reindexed"));

        await ReopenAsync();

        Assert.Equal([patient.Id!], await Store.IdsAsync("Patient", "family=reindexed"));
        Assert.Equal(1, (await Store.ReadAsync("Patient", patient.Id!))!.Version);
    }

    [Fact]
    public async Task Typed_reads_give_the_resource_and_the_version_to_state_in_the_next_write()
    {
        var patient = Samples.Person();
        await Store.CreateAsync(patient);
        await Store.CreateAsync(Samples.Result(patient.Id!, 20.5m));
        await Store.CreateAsync(Samples.Result(patient.Id!, 19.25m));

        var (read, version) = (await Store.GetAsync<Patient>(patient.Id!))!.Value;
        var results = await Store.FindAllAsync<Observation>($"subject=Patient/{patient.Id!}");
        read.BirthDate = "1951";
        await Store.UpdateAsync(read, version);

        Assert.Equal([20.5m, 19.25m], results.Select(r => ((Quantity)r.Value!).Value));
        Assert.All(results, r => Assert.Equal("1", r.Meta!.VersionId));
        Assert.Equal("1951", (await Store.GetAsync<Patient>(patient.Id!))!.Value.Resource.BirthDate);
    }
}
