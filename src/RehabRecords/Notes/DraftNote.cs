using Hl7.Fhir.Model;
using RehabRecords.Clinical;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.Fhir.Validation;
using RehabRecords.Progress;

namespace RehabRecords.Notes;

/// <summary>Drafts the note of a programme from the record as it is.</summary>
public sealed class DraftNote(RecordWriter writer, ProgressReader reader, NoteWriter notes, ClinicRules rules)
{
    /// <summary>Sessions may be posted for the same programme meanwhile; each time the draft has moved on, it is drafted again from the newer record.</summary>
    private const int MostAttempts = 20;

    /// <summary>The draft as the record would have it now, in place of one that is open; nothing is written.</summary>
    public async Task<Composition?> AnewAsync(Composition open, CancellationToken ct = default)
    {
        var programme = open.Event.SelectMany(e => e.Detail).Select(d => d.IdOf("CarePlan")).FirstOrDefault(id => id is not null);
        if (programme is null)
            return null;
        var record = await reader.ReadAsync(programme, ct);
        return NoteDraft.Compose(record, Findings.Of(record, MeasureCatalogue.Default, rules), open);
    }

    /// <returns>The note's id, and whether it is a new one.</returns>
    public async Task<(string Id, bool IsNew)> NowAsync(string programmeId, CancellationToken ct = default)
    {
        for (var attempt = 1; ; attempt++)
        {
            var record = await reader.ReadAsync(programmeId, ct);
            var set = new WriteSet();
            var note = await notes.AddAsync(set, record, Findings.Of(record, MeasureCatalogue.Default, rules), ct);
            if (set.Writes.Count == 0)
                return (note.Id!, false);
            try
            {
                await writer.WriteAsync(set, ct);
                return (note.Id!, set.Writes.Any(w => w.Type == "Composition" && w.FromVersion == 0));
            }
            catch (RefusedException refused) when (refused.Refusal is Refusal.StaleVersion or Refusal.Conflict && attempt < MostAttempts)
            {
                Telemetry.Measured.MadeAgain.Add(1);
            }
        }
    }
}
