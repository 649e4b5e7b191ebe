using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.Tests.Fhir.Store;

namespace RehabRecords.Tests.Commands;

/// <summary>The commands as an operator types them, each in a process of its own.</summary>
public sealed class StoreCommandTests : IAsyncLifetime
{
    private readonly string _folder = Directory.CreateTempSubdirectory("rehab-operator-").FullName;
    private readonly SetClock _clock = new(DateTimeOffset.Parse("2026-05-01T09:00:00Z"));

    private string Data => Path.Combine(_folder, "data");

    public async Task InitializeAsync()
    {
        await using var store = await TestEngine.OpenAsync(Data, TestIndex.Indexer, _clock);
        await FillAsync(store);
        Directory.CreateDirectory(Path.Combine(Data, "signing"));
        await File.WriteAllTextAsync(Path.Combine(Data, "signing", "private-key.pem"), "a key");
    }

    public Task DisposeAsync()
    {
        TestEngine.Drop(_folder);
        return Task.CompletedTask;
    }

    [Fact]
    public async Task A_backup_made_while_the_store_is_written_to_is_restored_elsewhere_and_is_the_same()
    {
        string said;
        List<RecordVersion> acknowledged = [];
        await using (var store = await TestEngine.OpenAsync(Data, TestIndex.Indexer, _clock))
        {
            using var over = new CancellationTokenSource();
            var writing = Task.Run(async () =>
            {
                while (!over.IsCancellationRequested)
                    acknowledged.Add(await store.CreateAsync(Samples.Person()));
            });
            // What was acknowledged before the backup began is in it; of what is written meanwhile a beginning.
            var before = await store.CreateAsync(Samples.Person("before"));
            said = await SaysAsync(0, "last commit is number", "backup", "backup");
            await over.CancelAsync();
            await writing;
            acknowledged.Insert(0, before);
        }

        Assert.Equal("a key", await File.ReadAllTextAsync(Path.Combine(_folder, "backup", "signing", "private-key.pem")));
        await SaysAsync(3, "exists already", "backup", "backup");
        await SaysAsync(0, "is whole", "verify-backup", "backup");
        Assert.Equal(Digests(said), Digests(await SaysAsync(0, "found the same", "restore", "backup", "--data", "elsewhere")));
        await SaysAsync(3, "has a record already", "restore", "backup", "--data", "elsewhere");
        await SaysAsync(0, "is whole", "verify-backup", "backup");
        Assert.Equal("a key", await File.ReadAllTextAsync(Path.Combine(_folder, "elsewhere", "signing", "private-key.pem")));

        await using var restored = await TestEngine.OpenAsync(Path.Combine(_folder, "elsewhere"), TestIndex.Indexer, _clock);
        var there = (await restored.FindAsync("Patient", "")).Select(p => p.Id).ToHashSet();
        var kept = acknowledged.Select(a => there.Contains(a.Id)).ToList();
        Assert.True(kept[0]);
        Assert.Equal(kept.OrderDescending(), kept);
        Assert.Equal(3, (await restored.HistoryAsync("Patient", "p1")).Count);
        Assert.Equal("p1", await restored.HolderOfAsync("Patient", Samples.System, "one"));
        Assert.Equal(5, (await restored.FindAsync("Observation", "subject=Patient/p1&value-quantity=gt0")).Count);
        await HasItsAuditTrailAsync(restored);
        // What is written next has the next number.
        var next = await restored.CreateAsync(Samples.Person());
        Assert.True(next.Sequence > (await restored.ReadAsync("Patient", "p1"))!.Sequence);
    }

    [Fact]
    public async Task A_damaged_backup_is_refused_and_nothing_is_restored()
    {
        await SaysAsync(0, "holds", "backup", "backup");
        var file = Path.Combine(_folder, "backup", "records.db");
        var bytes = await File.ReadAllBytesAsync(file);
        // One letter of a family name, in whichever row it is first.
        bytes[bytes.AsSpan().IndexOf("Needlework"u8)] = (byte)'n';
        await File.WriteAllBytesAsync(file, bytes);
        await SaysAsync(3, "other content", "verify-backup", "backup");
        await SaysAsync(3, "other content", "restore", "backup", "--data", "elsewhere");
        await SaysAsync(3, "is no backup", "verify-backup", "nowhere");
        await using var store = await TestEngine.OpenAsync(Path.Combine(_folder, "elsewhere"), TestIndex.Indexer, _clock);
        Assert.Empty(await store.FindAsync("Patient", ""));
    }

    [Fact]
    public async Task What_changed_in_the_store_is_named_not_given_out_not_backed_up_and_had_again_from_the_backup()
    {
        await SaysAsync(0, "is whole", "check-store");
        await SaysAsync(0, "holds", "backup", "backup");
        await using (var store = await TestEngine.OpenAsync(Data, TestIndex.Indexer, _clock))
        {
            var changed = await store.Writers.EnqueueAsync(
                s => s.Run($"UPDATE version SET json={(TestEngine.IsPostgresql ? "json || 'x'::bytea" : "CAST(CAST(json AS TEXT) || 'x' AS BLOB)")} WHERE id='p1' AND version=2"), default);
            Assert.Equal(1, changed);
            // It may be in use meanwhile.
            var said = await SaysAsync(3, "Patient/p1/_history/2 is not as it was stored", "check-store");
            Assert.Contains("1 problems", said, StringComparison.Ordinal);
        }

        await SaysAsync(3, "Patient/p1/_history/2 is not as it was stored", "backup", "another");
        Assert.Empty(Directory.EnumerateFileSystemEntries(_folder, "another*"));
        await SaysAsync(0, "found the same", "restore", "backup", "--data", "elsewhere");
        await SaysAsync(0, "is whole", "check-store", "--data", "elsewhere");
        await SaysAsync(1, "There is no store", "check-store", "--data", "nowhere");
    }

    [Theory]
    [InlineData("Host=db.clinic.example;Database=d;Username=u;Password=geheim", "the connection to db.clinic.example may go unencrypted (SSL Mode is Prefer)")]
    [InlineData("Host=127.0.0.1:1,10.0.0.7:5432;Database=d;Username=u;Password=geheim;SSL Mode=Disable", "the connection to 10.0.0.7:5432 may go unencrypted")]
    // These are let through, and nobody is there.
    [InlineData("Host=db.invalid;Database=d;Username=u;Password=geheim;SSL Mode=VerifyFull", "cannot be opened")]
    [InlineData("Host=127.0.0.1:1,localhost:1;Database=d;Username=u;Password=geheim", "cannot be opened")]
    [InlineData("Host=/nowhere;Database=d;Username=u;Password=geheim", "cannot be opened")]
    [InlineData("Host=db.invalid;Database=d;Username=u;Password=geheim", "cannot be opened", "--RehabRecords:Store:Unencrypted", "true")]
    public async Task A_connection_to_another_machine_is_encrypted_or_the_service_does_not_start(string connection, string says, params string[] settings)
    {
        var file = Path.Combine(_folder, "connection");
        await File.WriteAllTextAsync(file, connection);
        using var program = RunningProgram.StartOnSqlite(_folder, ["--RehabRecords:Store:Engine", "postgresql", "--RehabRecords:Store:ConnectionFile", file, "--urls", $"http://127.0.0.1:{RunningProgram.FreePort()}", .. settings]);
        Assert.Equal(1, await program.EndAsync());
        Assert.Contains(says, program.Said, StringComparison.Ordinal);
        Assert.DoesNotContain("geheim", program.Said, StringComparison.Ordinal);
    }

    [Fact]
    public async Task All_organisations_are_backed_up_and_restored_in_one_call()
    {
        string[] organisations = ["--RehabRecords:Access:Organisations:hill", "Hill Clinic", "--RehabRecords:Access:Organisations:vale", "Vale Clinic"];
        foreach (var (key, family) in new[] { ("hill", "Hillson"), ("vale", "Valeson") })
        {
            await using var store = await RecordStore.OpenSqliteAsync(Path.Combine(Data, "organisations", key), TestIndex.Indexer, _clock);
            await store.CreateAsync(Samples.Person(key, family));
            await store.CreateAsync(new AuditEvent());
            await store.ExtendAuditChainAsync();
        }

        async Task<string> AsksAsync(int code, params string[] typed)
        {
            using var program = RunningProgram.StartOnSqlite(_folder, [.. typed, .. organisations]);
            Assert.True(await program.EndAsync() == code, program.Said);
            return program.Said;
        }

        Assert.Matches("== hill \\(Hill Clinic\\)[^=]*== vale", await AsksAsync(0, "backup", "all", "--all"));
        Assert.True(File.Exists(Path.Combine(_folder, "all", "hill", "records.db")) && File.Exists(Path.Combine(_folder, "all", "vale", "signing", "private-key.pem")));
        await AsksAsync(0, "verify-backup", "all", "--all");
        await AsksAsync(0, "restore", "all", "--all", "--data", "elsewhere");
        Assert.Equal("a key", await File.ReadAllTextAsync(Path.Combine(_folder, "elsewhere", "signing", "private-key.pem")));
        Assert.Contains("1 events linked", await AsksAsync(0, "verify-audit", "--organisation", "vale", "--data", "elsewhere"), StringComparison.Ordinal);
        Assert.Contains("vale (Vale Clinic)", await AsksAsync(0, "retention", "--all", "--data", "elsewhere"), StringComparison.Ordinal);
        // One that cannot be done does not hide that, and the other is done.
        Directory.Delete(Path.Combine(_folder, "all", "hill"), recursive: true);
        Assert.Contains("is no backup", await AsksAsync(3, "verify-backup", "all", "--all"), StringComparison.Ordinal);
        Assert.Contains("There is no organisation 'dale'; set are: hill, vale.", await AsksAsync(1, "backup", "dale", "--organisation", "dale"), StringComparison.Ordinal);
        Assert.Contains("'--all' is not a command or option", await AsksAsync(2, "export-record", "p1", "p1.zip", "--all"), StringComparison.Ordinal);
        foreach (var (key, family) in new[] { ("hill", "Hillson"), ("vale", "Valeson") })
        {
            await using var restored = await RecordStore.OpenSqliteAsync(Path.Combine(_folder, "elsewhere", "organisations", key), TestIndex.Indexer, _clock);
            Assert.Single(await restored.IdsAsync("Patient", $"family={family}"));
        }
    }

    [Fact]
    public async Task Without_a_database_there_is_nowhere_to_move_to()
    {
        using var program = RunningProgram.StartOnSqlite(_folder, "move-store");
        Assert.Equal(1, await program.EndAsync());
        Assert.Contains("Store:ConnectionFile", program.Said, StringComparison.Ordinal);
        Assert.DoesNotContain("   at ", program.Said, StringComparison.Ordinal);
    }

    [OnPostgresql]
    public async Task A_store_is_moved_from_a_file_to_the_server_with_all_that_it_has()
    {
        var source = Path.Combine(_folder, "file");
        List<RecordVersion> all;
        await using (var store = await RecordStore.OpenSqliteAsync(source, TestIndex.Indexer, _clock))
        {
            await FillAsync(store);
            all = [.. await store.ChangesAfterAsync(0, ["Patient", "Observation"], 1000)];
        }

        await SaysAsync(0, "found the same", "move-store", "--data", "file");
        await SaysAsync(3, "has a record already", "move-store", "--data", "file");
        await SaysAsync(3, "There is no store", "move-store", "--data", "nothing");

        await using var moved = await TestEngine.OpenAsync(source, TestIndex.Indexer, _clock);
        var there = await moved.ChangesAfterAsync(0, ["Patient", "Observation"], 1000);
        Assert.Equal(all.Select(v => v with { Json = default }), there.Select(v => v with { Json = default }));
        Assert.All(all.Zip(there), pair => Assert.Equal(pair.First.Json.ToArray(), pair.Second.Json.ToArray()));
        Assert.Equal(["p1"], await moved.IdsAsync("Patient", "family=needlework"));
        await HasItsAuditTrailAsync(moved);
        var refused = await Assert.ThrowsAsync<RefusedException>(() => moved.CreateAsync(Samples.Person("one")));
        Assert.Equal(Refusal.Conflict, refused.Refusal);
        Assert.True((await moved.CreateAsync(Samples.Person())).Sequence > all[^1].Sequence);
    }

    private static async Task FillAsync(RecordStore store)
    {
        var person = Samples.Person("one", "Needlework");
        person.Id = "p1";
        await store.CreateAsync(person);
        await store.UpdateAsync(person, 1);
        await store.UpdateAsync(person, 2);
        for (var i = 0; i < 5; i++)
            await store.CreateAsync(Samples.Result("p1", 1.5m + i));
        var gone = await store.CreateAsync(Samples.Result("p1", 9));
        await store.DeleteAsync("Observation", gone.Id, 1);
        var set = new WriteSet { Key = Samples.Key(), Answer = new StoredAnswer(201, "there", "body"u8.ToArray()) };
        set.Create(Samples.Person("two"));
        await store.CommitAsync(set);
        await store.CreateAsync(new AuditEvent { Entity = [new() { What = new ResourceReference("Patient/p1") }] });
        await store.ExtendAuditChainAsync();
    }

    private static async Task HasItsAuditTrailAsync(RecordStore store)
    {
        var verdict = await store.VerifyAuditChainAsync([]);
        Assert.Empty(verdict.Problems);
        Assert.Equal((1, 0), (verdict.Head.Number, verdict.Waiting));
    }

    /// <summary>The lines with digests.</summary>
    private static IEnumerable<string> Digests(string said) => said.Split('\n').Where(l => l.Contains("_row", StringComparison.Ordinal) || l.StartsWith("version", StringComparison.Ordinal) || l.StartsWith("resource", StringComparison.Ordinal));

    private async Task<string> SaysAsync(int code, string words, params string[] typed)
    {
        using var program = RunningProgram.Start(_folder, typed);
        Assert.True(await program.EndAsync() == code, program.Said);
        Assert.Contains(words, program.Said, StringComparison.Ordinal);
        Assert.DoesNotContain("   at ", program.Said, StringComparison.Ordinal);
        return program.Said;
    }
}
