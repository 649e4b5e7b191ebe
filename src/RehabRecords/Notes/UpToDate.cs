using System.Globalization;
using Hl7.Fhir.Model;
using RehabRecords.Clinical;
using RehabRecords.Fhir.Store;
using RehabRecords.Progress;

namespace RehabRecords.Notes;

/// <summary>What follows from a programme as it is now.</summary>
public sealed record Followed(ProgrammeRecord Record, ProgrammeFindings Findings, Composition Note);

/// <summary>
/// Whatever changes the record of a programme (a session, a decision, a revision, a pause, a clearance) brings the adherence
/// summary and the draft note along in the same transaction, by this way and no other, so that neither is ever stale.
/// </summary>
public sealed class UpToDate(RecordStore store, NoteWriter notes, MeasureCatalogue catalogue, ClinicRules rules, TimeProvider clock)
{
    /// <summary>Adds the adherence summary and the draft, a first one when there is none.</summary>
    /// <param name="set">What is about to be written; what follows from it is added.</param>
    /// <param name="before">The programme as it was read.</param>
    public async Task<Followed> AddAsync(WriteSet set, ProgrammeRecord before, CancellationToken ct = default)
    {
        var record = before.With(set.Writes.Select(AsStored).OfType<Resource>());
        var findings = Findings.Of(record, catalogue, rules);
        await AdherenceSummary.AddAsync(store, set, record, findings.Adherence, clock.GetUtcNow(), ct);
        return new Followed(record, findings, await notes.AddAsync(set, record, findings, ct));
    }

    /// <summary>The same for a programme that has an open draft; a note that was signed, or never begun, is left alone.</summary>
    /// <returns>The open draft as it will be; null where there is none.</returns>
    public async Task<Composition?> AddToOpenAsync(WriteSet set, ProgrammeRecord before, CancellationToken ct = default) =>
        await notes.HasOpenAsync(before.Programme.Id, ct) ? (await AddAsync(set, before, ct)).Note : null;

    /// <summary>The version a write will be, so that what is computed from it names that version.</summary>
    private static Resource? AsStored(Write write)
    {
        if (write.Resource is { } resource)
            (resource.Meta ??= new Meta()).VersionId = (write.FromVersion + 1).ToString(CultureInfo.InvariantCulture);
        return write.Resource;
    }
}
