using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Tests.Fhir.Store;

/// <summary>What happens to rows without the service's doing is found, and what is damaged is not given out.</summary>
public sealed class StoreCheckTests : IAsyncLifetime
{
    private readonly string _folder = Directory.CreateTempSubdirectory("checked-").FullName;
    private readonly SetClock _clock = new(DateTimeOffset.Parse("2026-05-01T09:00:00Z"));
    private RecordStore? _store;

    private RecordStore Store => _store!;

    private StorePlace Place => TestEngine.IsPostgresql ? new PostgresPlace(TestEngine.Connection, TestEngine.SchemaOf(_folder)) : new SqlitePlace(_folder);

    public async Task InitializeAsync()
    {
        _store = await TestEngine.OpenAsync(_folder, TestIndex.Indexer, _clock);
        var person = Samples.Person("one", "Needlework");
        person.Id = "p1";
        await Store.CreateAsync(person);
        await Store.UpdateAsync(person, 1);
        var result = Samples.Result("p1", 1.5m);
        result.Id = "r1";
        await Store.CreateAsync(result);
        var gone = Samples.Result("p1", 9);
        gone.Id = "gone";
        await Store.CreateAsync(gone);
        await Store.DeleteAsync("Observation", "gone", 1);
    }

    public async Task DisposeAsync()
    {
        await Store.DisposeAsync();
        TestEngine.Drop(_folder);
    }

    [Fact]
    public void A_store_that_nobody_touched_is_whole_and_all_of_it_was_looked_at()
    {
        var (verdict, told) = Check();
        Assert.Empty(told);
        Assert.True(verdict.IsWhole);
        Assert.Equal((5, 3), (verdict.Versions, verdict.Resources));
    }

    [Theory]
    // A letter of a name; as a bit that falls over on the disk.
    [InlineData("UPDATE version SET json={json} WHERE id='p1' AND version=2", "Patient/p1/_history/2 is not as it was stored")]
    [InlineData("UPDATE version SET json={json} WHERE id='p1' AND version=1", "Patient/p1/_history/1 is not as it was stored")]
    // The whole of one version in place of another.
    [InlineData("UPDATE version SET json=(SELECT json FROM version WHERE id='gone' AND version=1) WHERE id='r1'", "Observation/r1/_history/1 is not as it was stored")]
    [InlineData("UPDATE version SET updated=updated+1 WHERE id='r1'", "Observation/r1/_history/1 is not as it was stored")]
    [InlineData("UPDATE version SET deleted=0 WHERE id='gone' AND version=2", "Observation/gone/_history/2 is not as it was stored")]
    [InlineData("UPDATE version SET digest=NULL WHERE id='r1'", "1 versions have no digest")]
    [InlineData("DELETE FROM version WHERE id='p1' AND version=1", "Patient/p1 has 1 versions, and the highest is 2")]
    // An earlier version is given out as the current one.
    [InlineData("UPDATE resource SET version=1, seq=(SELECT seq FROM version WHERE id='p1' AND version=1), updated=(SELECT updated FROM version WHERE id='p1' AND version=1) WHERE id='p1'", "Patient/p1 has a version 2 that is not the current one")]
    [InlineData("UPDATE resource SET seq=seq+100 WHERE id='r1'", "Observation/r1 says that version 1 is its current one")]
    [InlineData("UPDATE resource SET deleted=0 WHERE id='gone'", "Observation/gone says that version 2 is its current one")]
    [InlineData("DELETE FROM resource WHERE id='r1'", "Observation/r1 has a version 1 that is not the current one")]
    [InlineData("DELETE FROM string_row WHERE folded='needlework'", "The rows of Patient/p1 in string_row")]
    [InlineData("UPDATE quantity_row SET low=low+1", "The rows of Observation/r1 in quantity_row")]
    [InlineData("UPDATE reference_row SET target='Patient/p2'", "The rows of Observation/r1 in reference_row")]
    [InlineData("UPDATE token_row SET res=res+100", "token_row has rows of a resource that does not exist")]
    [InlineData("DELETE FROM claim", "The rows of Patient/p1 in claim")]
    [InlineData("UPDATE claim SET id='p9'", "Patient/p9 holds the identifier")]
    public async Task What_changed_is_named(string sql, string says)
    {
        await TamperAsync(sql);
        var (verdict, told) = Check();
        Assert.False(verdict.IsWhole);
        Assert.Contains(told, t => t.StartsWith(says, StringComparison.Ordinal));
    }

    [Fact]
    public async Task A_damaged_version_is_given_out_by_no_read_and_the_others_are()
    {
        await TamperAsync("UPDATE version SET json={json} WHERE id='p1' AND version=2");
        foreach (var read in new Func<Task>[]
        {
            () => Store.ReadAsync("Patient", "p1"),
            () => Store.ReadVersionAsync("Patient", "p1", 2),
            () => Store.HistoryAsync("Patient", "p1"),
            () => Store.FindAsync("Patient", "family=needlework"),
            () => Store.ChangesAfterAsync(0, ["Patient"], 10),
            async () =>
            {
                await foreach (var _ in Store.OfPatientAsync("p1", allVersions: true))
                {
                }
            },
            async () =>
            {
                using var snapshot = await Store.SnapshotAsync();
                _ = snapshot.Current("Patient", new SnapshotScope(false, null)).ToList();
            },
        })
        {
            var refused = await Assert.ThrowsAsync<RefusedException>(read);
            Assert.Equal(Refusal.Damaged, refused.Refusal);
            Assert.StartsWith("Patient/p1/_history/2 is not as it was stored", refused.Message, StringComparison.Ordinal);
        }

        Assert.NotNull(await Store.ReadVersionAsync("Patient", "p1", 1));
        Assert.NotNull(await Store.ReadAsync("Observation", "r1"));
        await Store.CreateAsync(Samples.Person());
    }

    [Fact]
    public async Task Versions_that_an_older_program_wrote_get_their_digests_when_the_store_is_opened()
    {
        await Store.DisposeAsync();
        BackToTheOlderSchema();
        var told = Assert.Throws<StoreUnusableException>(() => { Check(); }).Message;
        Assert.Contains("an older program wrote it", told, StringComparison.Ordinal);

        _store = await TestEngine.OpenAsync(_folder, TestIndex.Indexer, _clock);
        Assert.Empty(Check().Told);
        await TamperAsync("UPDATE version SET json={json} WHERE id='p1' AND version=1");
        Assert.Single(Check().Told);
    }

    private void BackToTheOlderSchema()
    {
        const string Sql = "DROP INDEX version_without_digest; ALTER TABLE version DROP COLUMN digest; DELETE FROM schemaversions WHERE scriptname LIKE '%.004%'";
        if (TestEngine.IsPostgresql)
        {
            TestEngine.Run($"SET search_path TO {TestEngine.SchemaOf(_folder)}; {Sql}");
            return;
        }

        using var dialect = SqliteDialect.Open(_folder);
        using var session = new Session(dialect.OpenWriter(), dialect);
        session.Run(Sql);
    }

    private (StoreVerdict Verdict, List<string> Told) Check()
    {
        var told = new List<string>();
        return (StoreCheck.Run(Place, TestIndex.Indexer, told.Add), told);
    }

    private async Task TamperAsync(string sql) => Assert.True(await Store.Writers.EnqueueAsync(
        s => s.Run(sql.Replace("{json}", TestEngine.IsPostgresql
            ? "convert_to(replace(convert_from(json, 'UTF8'), 'Needlework', 'needlework'), 'UTF8')"
            : "CAST(replace(CAST(json AS TEXT), 'Needlework', 'needlework') AS BLOB)", StringComparison.Ordinal)), default) > 0);
}
