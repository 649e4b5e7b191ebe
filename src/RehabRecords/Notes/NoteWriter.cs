using Hl7.Fhir.Model;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Store;
using RehabRecords.Progress;
using Canonical = RehabRecords.Terms.Canonical;

namespace RehabRecords.Notes;

/// <summary>Puts the draft of a programme into a set of writes: the next version of its open draft, or a new note.</summary>
public sealed class NoteWriter(RecordStore store)
{
    /// <summary>
    /// Adds the draft, and its author with the first note ever. Adds nothing when the open draft already says the same, or
    /// when a clinician has begun to work on it: theirs is not overwritten, it becomes stale until they refresh it.
    /// A rival who drafts at the same moment makes the commit fail with StaleVersion or Conflict: read again and retry.
    /// </summary>
    public async Task<Composition> AddAsync(WriteSet set, ProgrammeRecord record, ProgrammeFindings findings, CancellationToken ct = default)
    {
        var (open, current, number) = await OpenDraftAsync(record.Programme.Id, ct);
        if (open is not null && !Untouched(open))
            return open;
        var draft = NoteDraft.Compose(record, findings, open, number);
        if (open is not null && NoteDraft.SaysTheSame(open, draft))
            return open;
        if (await store.ReadAsync("Device", DraftAuthor.Id, ct) is null)
            set.Create(DraftAuthor.Resource());
        return current is null ? set.Create(draft) : set.Update(draft, record.NextAfter(current));
    }

    /// <summary>Whether the programme has a draft that is not signed.</summary>
    public async Task<bool> HasOpenAsync(string programmeId, CancellationToken ct = default) => (await OpenDraftAsync(programmeId, ct)).Open is not null;

    /// <summary>The notes of a programme are numbered; all but the last are closed. The last is open while it is preliminary.</summary>
    private async Task<(Composition? Open, RecordVersion? Current, int Number)> OpenDraftAsync(string programmeId, CancellationToken ct)
    {
        string? last = null;
        var number = 1;
        while (await store.HolderOfAsync("Composition", Canonical.Identifier("progress-note"), $"{programmeId}/{number}", ct) is { } holder)
            (last, number) = (holder, number + 1);
        if (last is not null && await store.ReadAsync("Composition", last, ct) is { Deleted: false } current
            && ResourceReader.Trusted<Composition>(current.Json) is { Status: CompositionStatus.Preliminary } note)
            return (note, current, number - 1);
        return (null, null, number);
    }

    /// <summary>Nobody but the software is its author.</summary>
    public static bool Untouched(Composition note) => note.Author.TrueForAll(a => a.Reference == DraftAuthor.Address);
}
