using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Store;
using RehabRecords.Trade;

namespace RehabRecords.Documents;

/// <summary>
/// A note that is about to be changed, read at the version the caller has seen. Whoever has seen another version is refused
/// with what has changed since, so that of two who edit at once the second decides anew and nobody's words are lost.
/// </summary>
internal sealed class NoteInHand
{
    private NoteInHand(Composition note, int version, DocumentKind kind, DateTimeOffset now) => (Note, Version, Kind, Now) = (note, version, kind, now);

    public Composition Note { get; }

    public int Version { get; }

    public DocumentKind Kind { get; }

    /// <summary>To the millisecond, as it is stored.</summary>
    public DateTimeOffset Now { get; }

    public IReadOnlyList<NoteStatement> Statements => NoteStatement.Of(Note, Kind);

    public bool WaitsForCountersignature => Note.IsDraft() && Note.Attester.Count > 0;

    /// <exception cref="RefusedException">NotFound; VersionNotNamed or StaleVersion, the latter with what changed since.</exception>
    public static async Task<NoteInHand> OpenAsync(RecordStore store, DocumentKinds kinds, string id, string? ifMatch, DateTimeOffset now, CancellationToken ct)
    {
        if ((Rules.IsId(id) ? await store.ReadAsync("Composition", id, ct) : null) is not { Deleted: false } current
            || ResourceReader.Trusted<Composition>(current.Json) is not { } note || kinds.Of(note) is not { } kind)
            throw Unknown(id);
        try
        {
            VersionTag.Require(current, ifMatch, "If-Match");
        }
        catch (RefusedException refused) when (refused.Refusal == Refusal.StaleVersion)
        {
            throw new RefusedException(Refusal.StaleVersion, [.. refused.Issues, .. await ChangesAsync(store, kind, note, id, VersionTag.Read(ifMatch)!.Value, ct)]);
        }

        return new NoteInHand(note, current.Version, kind, new DateTimeOffset(now.Ticks / TimeSpan.TicksPerMillisecond * TimeSpan.TicksPerMillisecond, TimeSpan.Zero));
    }

    public static RefusedException Unknown(string id) => new(Refusal.NotFound, OperationOutcome.IssueType.NotFound,
        $"There is no note '{Rules.Shown(id)}'. GET /api/notes?person={{id}} lists a person's notes.", "id");

    /// <summary>Only a draft is changed.</summary>
    public void RefuseUnlessDraft()
    {
        if (Note.IsDraft())
            return;
        throw new RefusedException(Refusal.Conflict, OperationOutcome.IssueType.BusinessRule, Note.Status == CompositionStatus.EnteredInError
            ? $"The note was marked as entered in error at version {Version}; it is not changed any more."
            : $"The note is signed, at version {Version}; what is signed is not changed. Amend it: POST /api/notes/{Note.Id}/amendments.", "id");
    }

    public NoteStatement Statement(string id) => Statements.FirstOrDefault(s => s.Id == id)
        ?? throw new RefusedException(Refusal.NotFound, OperationOutcome.IssueType.NotFound,
            $"The note has no statement '{Rules.Shown(id)}' at version {Version}. GET /api/notes/{Note.Id} lists its statements.", "statement");

    /// <summary>
    /// Adds the next version. What its author signed before is signed no more, since the words are no longer the same.
    /// </summary>
    public void Save(WriteSet set, ResourceReference by)
    {
        Note.Attester.Clear();
        Note.AddAuthor(by);
        Note.DateElement = new FhirDateTime(Now);
        foreach (var part in Note.Section)
            Parts.Settle(part);
        Presentation.Write(Note, Kind);
        set.Update(Note, Version);
    }

    private static async Task<IEnumerable<Issue>> ChangesAsync(RecordStore store, DocumentKind kind, Composition now, string id, int seen, CancellationToken ct)
    {
        if (await store.ReadVersionAsync("Composition", id, seen, ct) is not { Deleted: false } then)
            return [];
        var before = ResourceReader.Trusted<Composition>(then.Json);
        var changes = StatementDifference.Between(NoteStatement.Of(before, kind), NoteStatement.Of(now, kind)).Where(d => d.Change != StatementDifference.Same)
            .Select(d => Issue.Error(OperationOutcome.IssueType.Conflict, d.Words, d.Id));
        return before.Status == now.Status && before.Attester.Count == now.Attester.Count ? changes
            : changes.Prepend(Issue.Error(OperationOutcome.IssueType.Conflict, $"The note itself: {Presentation.Mark(now)}", "status"));
    }
}

/// <summary>The sections of a note that hold its statements.</summary>
internal static class Parts
{
    private const string EmptyReasons = "http://terminology.hl7.org/CodeSystem/list-empty-reason";

    /// <summary>Lists as entry what its statements rest on, each once, and says that it is empty when it is.</summary>
    public static void Settle(Composition.SectionComponent part)
    {
        part.Entry = [.. part.Section.SelectMany(s => s.Entry).Select(e => e.Reference).OfType<string>().Distinct().Order(StringComparer.Ordinal).Select(a => new ResourceReference(a))];
        if (part.Section.Count > 0)
            part.EmptyReason = null;
        else
            part.EmptyReason ??= new CodeableConcept(EmptyReasons, "unavailable", "Nothing is recorded.");
    }

    /// <summary>As a caller names it: by its title in any case, or its code.</summary>
    public static Composition.SectionComponent? Named(Composition note, string name) => note.Section.Find(
        p => string.Equals(p.Title, name.Trim(), StringComparison.OrdinalIgnoreCase) || p.Code?.Coding.Exists(c => c.Code == name) == true);

    public static string NameOf(Composition.SectionComponent part) => (part.Title ?? "").ToLowerInvariant();
}
