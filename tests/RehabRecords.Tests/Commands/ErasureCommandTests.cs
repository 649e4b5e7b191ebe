using System.Text.Json;
using Hl7.Fhir.Model;
using RehabRecords.Erasure;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.Tests.Fhir.Store;

namespace RehabRecords.Tests.Commands;

/// <summary>A backup from before an erasure does not bring the person back.</summary>
public sealed class ErasureCommandTests : IAsyncLifetime
{
    private readonly string _folder = Directory.CreateTempSubdirectory("rehab-erased-").FullName;
    private readonly SetClock _clock = new(DateTimeOffset.Parse("2026-05-01T09:00:00Z"));

    public async System.Threading.Tasks.Task InitializeAsync()
    {
        await using var store = await TestEngine.OpenAsync(Path.Combine(_folder, "data"), TestIndex.Indexer, _clock);
        foreach (var id in new[] { "gone", "stays" })
        {
            var person = Samples.Person(id, "Needlework" + id);
            person.Id = id;
            await store.CreateAsync(person);
            await store.CreateAsync(Samples.Result(id, 12));
            await store.CreateAsync(new AuditEvent { Entity = [new() { What = new ResourceReference($"Patient/{id}") }] });
        }

        await store.ExtendAuditChainAsync();
    }

    public System.Threading.Tasks.Task DisposeAsync()
    {
        TestEngine.Drop(_folder);
        return System.Threading.Tasks.Task.CompletedTask;
    }

    [Fact]
    public async System.Threading.Tasks.Task After_an_older_backup_was_restored_the_service_waits_until_the_erasures_were_applied_to_it()
    {
        await SaysAsync(0, "holds", "backup", "before");
        string ledger;
        await using (var store = await TestEngine.OpenAsync(Path.Combine(_folder, "data"), TestIndex.Indexer, _clock))
        {
            var tombstone = await store.EraseAsync(new ErasureOrder(["gone"], "t-1", _clock.GetUtcNow(), "Sorrel Madeup", "person-asked", null, null)
            {
                Mentions = _ => false,
                Redact = ErasedTrail.Redact,
                Attest = t => new AuditEvent { Entity = [new() { Name = t.Id, Detail = [new() { Type = "audit-digest", Value = new FhirString(t.AuditDigest) }] }] },
            });
            ledger = JsonSerializer.Serialize(new LedgerLine((await store.ErasureKeyAsync())!, tombstone), JsonSerializerOptions.Web);
            Assert.Empty((await store.VerifyAuditChainAsync([])).Problems);
        }

        await SaysAsync(0, "found the same", "restore", "before", "--data", "later");
        var file = Path.Combine(_folder, "later", ErasureLedger.FileName);
        await File.WriteAllTextAsync(file, ledger + "\n");
        await SaysAsync(1, "those people are in it again", "serve", "--data", "later", "--urls", $"http://127.0.0.1:{RunningProgram.FreePort()}");
        await SaysAsync(0, "1 done again, 0 of people who are not in this store, 0 known before", "apply-erasures", file, "--data", "later");
        await SaysAsync(0, "0 done again, 0 of people who are not in this store, 1 known before", "apply-erasures", file, "--data", "later");
        await SaysAsync(0, "written anew", "clear-remains", "--data", "later");
        await SaysAsync(0, "is whole", "check-store", "--data", "later");
        await SaysAsync(0, "1 of which an erasure left a part", "verify-audit", "--data", "later");
        Assert.Contains("no list of erasures", await SaysAsync(1, "erasures.ndjson", "apply-erasures", Path.Combine(_folder, "before", "backup.json"), "--data", "later"), StringComparison.Ordinal);
        // A store in which the person never was only takes note.
        await SaysAsync(0, "0 done again, 1 of people who are not in this store", "apply-erasures", file, "--data", "empty");
        await SaysAsync(0, "The audit trail is whole", "verify-audit", "--data", "empty");

        await using var restored = await TestEngine.OpenAsync(Path.Combine(_folder, "later"), TestIndex.Indexer, _clock);
        Assert.Equal(["stays"], await restored.IdsAsync("Patient", ""));
        Assert.NotNull(await restored.ErasedAtAsync("Patient", "gone"));
        Assert.Equal(["t-1"], (await restored.TombstonesAsync()).Select(t => t.Id));
        Assert.All(Erasure.RawBytes.Find(["Needleworkgone"], Erasure.RawBytes.Of(Path.Combine(_folder, "later"))), f => Assert.Equal(0, f.Value));
        Assert.All(Erasure.RawBytes.Find(["Needleworkstays"], Erasure.RawBytes.Of(Path.Combine(_folder, "later"))), f => Assert.True(f.Value > 0));
        // Nor does a sender's repeat, or an export that was kept, bring them back.
        var person = Samples.Person("gone");
        person.Id = "gone";
        Assert.Equal(Refusal.Gone, (await Assert.ThrowsAsync<RefusedException>(() => restored.CreateAsync(person))).Refusal);
    }

    private async Task<string> SaysAsync(int code, string words, params string[] typed)
    {
        using var program = RunningProgram.Start(_folder, typed);
        Assert.True(await program.EndAsync() == code, program.Said);
        Assert.Contains(words, program.Said, StringComparison.Ordinal);
        Assert.DoesNotContain("   at ", program.Said, StringComparison.Ordinal);
        return program.Said;
    }
}
