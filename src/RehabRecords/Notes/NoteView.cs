using Hl7.Fhir.Model;

namespace RehabRecords.Notes;

/// <summary>A note as /api answers it.</summary>
/// <param name="Address">Where the note is read, for example /api/notes/{id}.</param>
/// <param name="Composition">The exact version of the Composition that holds it.</param>
/// <param name="Status">preliminary: a draft.</param>
/// <param name="Urgent">What must be acted on before anything else is read; empty in most notes.</param>
/// <param name="From">First day the note speaks of.</param>
/// <param name="To">The day of the latest result: the note is as of that day.</param>
/// <param name="Text">The whole note as plain text.</param>
public sealed record NoteView(
    IReadOnlyList<string> Urgent, string Address, string Composition, string Status, string Title, string Person, string PersonName,
    string Programme, string From, string To, string Author, IReadOnlyList<StatementView> Statements, string Text)
{
    public static NoteView Of(Composition note)
    {
        var statements = NoteComposition.Read(note);
        var about = note.Event.FirstOrDefault();
        return new NoteView(
            [.. statements.Where(s => s.Rule.Id == NoteRules.UrgentFlag.Id).Select(s => s.Text)],
            $"/api/notes/{note.Id}",
            note.VersionId is { } version ? $"Composition/{note.Id}/_history/{version}" : $"Composition/{note.Id}",
            note.Status is CompositionStatus.Preliminary ? "preliminary" : Hl7.Fhir.Utility.EnumUtility.GetLiteral(note.Status) ?? "",
            note.Title ?? "",
            note.Subject?.Reference ?? "",
            note.Subject?.Display ?? "",
            about?.Detail.FirstOrDefault()?.Reference ?? "",
            about?.Period?.Start ?? "",
            about?.Period?.End ?? "",
            note.Author.FirstOrDefault()?.Display ?? "",
            [.. statements.Select(StatementView.Of)],
            NoteText.Of(note, statements));
    }
}

/// <param name="Section">subjective, objective, assessment or plan.</param>
/// <param name="Rule">The rule that made it; docs/note-rules.md.</param>
/// <param name="Kind">finding, reported, suggestion, caution or gap.</param>
/// <param name="Evidence">Addresses under /fhir/ of the exact versions it rests on.</param>
public sealed record StatementView(
    string Id, string Section, string Text, string Rule, string Kind, IReadOnlyList<string> Evidence, IReadOnlyList<ValueView> Values)
{
    public static StatementView Of(Statement statement) => new(
        statement.Id, Headings.Title(statement.Section).ToLowerInvariant(), statement.Text, statement.Rule.Id, statement.Kind,
        [.. statement.Evidence], [.. statement.Values.Select(v => new ValueView(v.Number, v.Unit))]);
}

/// <param name="Unit">UCUM code.</param>
public sealed record ValueView(decimal Value, string Unit);
