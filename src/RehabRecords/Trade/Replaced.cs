using Hl7.Fhir.Model;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Trade;

/// <summary>Records that were merged into another: what was signed in them stays with them, and is shown with the other's.</summary>
internal static class Replaced
{
    /// <summary>The id of the record into which this one was merged; null for one that stands for itself.</summary>
    public static string? By(Patient patient) => patient.Link.FirstOrDefault(l => l.Type == Patient.LinkType.ReplacedBy)?.Other?.Reference is { } other ? Rules.Bare(other, "Patient") : null;

    /// <summary>The person's own id first, then those of the records merged into it, and into these.</summary>
    public static async Task<IReadOnlyList<string>> RecordsOfAsync(RecordStore store, string person, CancellationToken ct)
    {
        List<string> records = [person];
        for (var i = 0; i < records.Count; i++)
            if (await store.GetAsync<Patient>(records[i], ct) is { Resource: var patient })
                records.AddRange(patient.Link.Where(l => l.Type == Patient.LinkType.Replaces).Select(l => Rules.Bare(l.Other?.Reference ?? "", "Patient")).Where(r => r.Length > 0 && !records.Contains(r)));
        return records;
    }

    /// <summary>As a search by subject asks for them.</summary>
    public static async Task<string> SubjectsAsync(RecordStore store, string person, CancellationToken ct) =>
        "subject=" + string.Join(',', (await RecordsOfAsync(store, person, ct)).Select(r => $"Patient/{r}"));
}
