using Hl7.Fhir.Model;
using RehabRecords.Documents;

namespace RehabRecords.Notes;

/// <summary>A note as /api answers it.</summary>
/// <param name="Address">Where the note is read, for example /api/notes/{id}.</param>
/// <param name="Composition">The exact version of the Composition that holds it.</param>
/// <param name="Status">preliminary: a draft; final or amended: signed; entered-in-error: not to be used.</param>
/// <param name="Stage">draft, edited, awaiting-countersignature, signed, amended or entered-in-error.</param>
/// <param name="Urgent">What must be acted on before anything else is read; empty in most notes.</param>
/// <param name="From">First day the note speaks of.</param>
/// <param name="To">The day of the latest result: the note is as of that day.</param>
/// <param name="Author">Everybody who wrote it, the software among them.</param>
/// <param name="Signatures">Who signed, in order; the first of two waits for the second.</param>
/// <param name="Replaces">Identifier of the version that this amendment replaces; null for a first version.</param>
/// <param name="Reason">Why it was amended or withdrawn.</param>
/// <param name="Text">The whole note as plain text.</param>
public sealed record NoteView(
    IReadOnlyList<string> Urgent, string Address, string Composition, string Status, string Stage, string Kind, string Title, string Person, string PersonName,
    string Programme, string From, string To, string Author, IReadOnlyList<SignedBy> Signatures, string? Replaces, string? Reason,
    IReadOnlyList<StatementView> Statements, string Text)
{
    /// <summary>What must be known before the draft is signed; null unless it is a draft and was asked for by itself.</summary>
    public Review? Review { get; init; }

    /// <summary>Address of the amendment that replaces it, whether signed yet or not; null when there is none.</summary>
    public string? ReplacedBy { get; init; }

    public static NoteView Of(Composition note) => Of(note, NoteKind.Of(note));

    public static NoteView Of(Composition note, DocumentKind kind)
    {
        var statements = NoteStatement.Of(note, kind);
        var about = note.Event.FirstOrDefault();
        return new NoteView(
            [.. statements.Where(s => s.IsUrgent && s.State != StatementState.Removed).Select(s => s.Text)],
            $"/api/notes/{note.Id}",
            note.VersionId is { } version ? $"Composition/{note.Id}/_history/{version}" : $"Composition/{note.Id}",
            Hl7.Fhir.Utility.EnumUtility.GetLiteral(note.Status) ?? "",
            Stages.Of(note),
            kind.Name,
            note.Title ?? "",
            note.Subject?.Reference ?? "",
            note.Subject?.Display ?? "",
            about?.Detail.FirstOrDefault()?.Reference ?? "",
            about?.Period?.Start ?? "",
            about?.Period?.End ?? "",
            string.Join("; ", note.Author.Select(a => a.Display)),
            [.. note.Attester.Select(a => new SignedBy(a.Party?.Display, a.Time))],
            AmendNote.Before(note)?.Value,
            note.GetStringExtension(Terms.Extensions.AmendmentReason),
            [.. statements.Select(StatementView.Of)],
            NoteText.Of(note, kind));
    }
}

/// <param name="By">Name, role and registration as they stand in the document.</param>
public sealed record SignedBy(string? By, string? At);

/// <param name="Section">Title of the section in lower case, such as plan.</param>
/// <param name="Rule">The rule that made it, docs/note-rules.md; clinician for a clinician's own.</param>
/// <param name="Kind">finding, reported, suggestion, caution or gap.</param>
/// <param name="Evidence">Addresses under /fhir/ of the exact versions it rests on.</param>
/// <param name="State">drafted, accepted, edited, removed or own.</param>
/// <param name="By">Who accepted, edited, removed or wrote it; null for what only software wrote.</param>
/// <param name="DraftedText">What the software drafted, where a clinician put other words or removed it.</param>
/// <param name="RemovalReason">Why it was removed.</param>
/// <param name="NeedsALook">Why it should be looked at again: what was drafted has changed since.</param>
public sealed record StatementView(
    string Id, string Section, string Text, string Rule, string Kind, IReadOnlyList<string> Evidence, IReadOnlyList<ValueView> Values,
    string State, string? By, DateTimeOffset? At, string? DraftedText, string? RemovalReason, string? NeedsALook)
{
    public static StatementView Of(NoteStatement statement) => new(
        statement.Id, Parts.NameOf(statement.Part), statement.Text, statement.Rule, statement.Kind,
        statement.Evidence, [.. statement.Values.Select(v => new ValueView(v.Value ?? 0, v.Code ?? "1"))],
        statement.State, statement.By, statement.At, statement.DraftedText, statement.Reason, statement.NeedsALook);
}

/// <param name="Unit">UCUM code.</param>
public sealed record ValueView(decimal Value, string Unit);
