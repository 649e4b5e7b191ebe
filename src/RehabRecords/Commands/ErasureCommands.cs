using RehabRecords.Access;
using RehabRecords.Audit;
using RehabRecords.Erasure;
using RehabRecords.Fhir.Store;
using RehabRecords.Host;

namespace RehabRecords.Commands;

/// <summary>apply-erasures and clear-remains: what an operator does after a restore, and after an erasure on a database server.</summary>
internal static class ErasureCommands
{
    public static async Task<int> ApplyAsync(CommandLine line, Func<string[], WebApplication> build, CancellationToken ct)
    {
        await using var app = build(line.Settings);
        var settings = app.Services.GetRequiredService<Settings>();
        var store = app.Services.GetRequiredService<Stores>().Of(Stores.Only);
        var known = (await store.TombstonesAsync(ct)).Select(t => t.Id).ToHashSet(StringComparer.Ordinal);
        var (again, absent) = (0, 0);
        foreach (var one in ErasureLedger.Read(line.Arguments[0]).Where(l => !known.Contains(l.Tombstone.Id)))
        {
            List<string> people = [.. (await store.PatientIdsAsync(ct)).Where(one.Is)];
            var tombstone = await store.EraseAsync(
                new ErasureOrder(people, one.Tombstone.Id, one.Tombstone.At, one.Tombstone.By, one.Tombstone.Basis, null, one.Tombstone.RecordDigest)
                {
                    Key = one.Key,
                    Marks = one.Tombstone.People,
                    Mentions = ErasedTrail.Mentions(await EraseRecord.PatientsAsync(store, people, ct)),
                    Redact = ErasedTrail.Redact,
                    Attest = t => new AccessEvents(settings).Erased(t, new Who("command", "command", "Command at the machine", "operator", null), "command", "127.0.0.1"),
                },
                CancellationToken.None);
            Console.WriteLine(people.Count == 0
                ? $"Erasure {tombstone.Id} of {tombstone.At.UtcDateTime:yyyy-MM-dd}: nobody of it is in this store."
                : $"Erasure {tombstone.Id} of {tombstone.At.UtcDateTime:yyyy-MM-dd}: done again, {tombstone.Versions} versions.");
            (again, absent) = people.Count == 0 ? (again, absent + 1) : (again + 1, absent);
        }

        await app.Services.GetRequiredService<ErasureLedger>().SettleAsync(ct);
        Console.WriteLine($"{again} done again, {absent} of people who are not in this store, {known.Count} known before.{(again > 0 ? " Now run clear-remains." : "")}");
        return 0;
    }

    public static async Task<int> ClearAsync(CommandLine line, Func<string[], WebApplication> build, CancellationToken ct)
    {
        await using var app = build(line.Settings);
        var cleared = await app.Services.GetRequiredService<Stores>().Of(Stores.Only).ClearRemainsAsync(all: true, TimeSpan.FromMinutes(1), ct);
        Console.WriteLine(cleared ? "The files were written anew; nothing of what was deleted is left in them." : "Something may be left: a transaction or a reader that began before had not ended after a minute, or a copy of the database lags behind. Run it again when it has.");
        return cleared ? 0 : 1;
    }
}
