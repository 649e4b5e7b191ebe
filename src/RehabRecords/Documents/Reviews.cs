using Hl7.Fhir.Model;
using RehabRecords.Fhir.Store;
using RehabRecords.Flags;
using RehabRecords.Terms;

namespace RehabRecords.Documents;

/// <summary>An open red flag of the person.</summary>
public sealed record OpenFlag(string Flag, string? Code, string? Title, string? Since);

/// <summary>What must be known before a draft is signed.</summary>
/// <param name="Stale">Whether the record would give another draft now.</param>
/// <param name="Changes">In what it would differ.</param>
/// <param name="NeedsALook">Ids of statements that a clinician should look at again.</param>
/// <param name="RedFlags">Open red flags of the person. They do not keep anybody from signing; they are said in what is signed.</param>
/// <param name="Untouched">How many statements nobody has accepted, edited or removed.</param>
public sealed record Review(bool Stale, IReadOnlyList<DraftChange> Changes, IReadOnlyList<string> NeedsALook, IReadOnlyList<OpenFlag> RedFlags, int Untouched);

/// <summary>Works out where a draft stands, from the record as it is.</summary>
public sealed class Reviews(RecordStore store)
{
    public async Task<Review> OfAsync(Composition note, DocumentKind kind, CancellationToken ct = default)
    {
        var fresh = await FreshAsync(note, kind, ct);
        var changes = fresh is null ? [] : FreshDraft.Changes(note, fresh, kind);
        var statements = NoteStatement.Of(note, kind);
        return new Review(
            changes.Count > 0, changes, [.. statements.Where(s => s.NeedsALook is not null).Select(s => s.Id)],
            await RedFlagsAsync(note, ct), statements.Count(s => !s.IsTouched));
    }

    /// <summary>The draft as the record would have it now; null for an amendment, which speaks of the time of what it amends.</summary>
    public static Task<Composition?> FreshAsync(Composition note, DocumentKind kind, CancellationToken ct) =>
        note.IsAmendment() || kind.DraftAnew is null ? Task.FromResult<Composition?>(null) : kind.DraftAnew(note, ct);

    public async Task<IReadOnlyList<OpenFlag>> RedFlagsAsync(Composition note, CancellationToken ct)
    {
        var flags = await store.FindAllAsync<Flag>($"subject={note.Subject!.Reference}", ct);
        return [.. flags.Where(f => f.IsRedFlag() && f.Status == Flag.FlagStatus.Active).OrderBy(f => f.Period?.Start, StringComparer.Ordinal).ThenBy(f => f.Id, StringComparer.Ordinal)
            .Select(f => new OpenFlag($"Flag/{f.Id}", f.Code.CodeIn(Systems.RedFlag), f.Code?.Text, f.Period?.Start))];
    }
}
