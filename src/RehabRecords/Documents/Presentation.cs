using Hl7.Fhir.Model;
using RehabRecords.Notes;
using RehabRecords.Terms;

namespace RehabRecords.Documents;

/// <summary>
/// What a document says of itself: title, summary and the text of each section, so that a reader of the narrative alone
/// knows whether it is a draft, who wrote it and who signed. R4 lets an attester attest to the presented form, so all that
/// matters of the signing is said here.
/// </summary>
public static class Presentation
{
    private const string DraftWord = " (draft)";
    private const string AmendmentWord = " (amendment)";

    /// <summary>Stands in each part of a draft that somebody has worked on.</summary>
    internal const string EditedMark = "DRAFT. Drafted by software, edited by a clinician; not signed.";

    internal const string WaitingMark = "DRAFT. Signed by its author; not valid before a registered clinician has countersigned.";

    public static bool IsDraft(this Composition note) => note.Status == CompositionStatus.Preliminary;

    public static bool IsAmendment(this Composition note) => note.RelatesTo.Exists(r => r.Code == DocumentRelationshipType.Replaces);

    /// <summary>An author once.</summary>
    public static void AddAuthor(this Composition note, ResourceReference who)
    {
        if (!note.Author.Exists(a => a.Reference == who.Reference && a.Display == who.Display))
            note.Author.Add((ResourceReference)who.DeepCopy());
    }

    /// <summary>Writes title, summary and section texts anew, as the state of the note asks.</summary>
    /// <param name="said">What else the reader must know, a paragraph each.</param>
    public static void Write(Composition note, DocumentKind kind, params IReadOnlyList<string> said)
    {
        var subject = (note.Title ?? "").Replace(DraftWord, "", StringComparison.Ordinal).Replace(AmendmentWord, "", StringComparison.Ordinal);
        var name = Wording.Capital(kind.Name);
        var rest = subject.StartsWith(name, StringComparison.OrdinalIgnoreCase) ? subject[name.Length..] : $": {subject}";
        var word = note.IsDraft() ? DraftWord : note.Status == CompositionStatus.Amended ? AmendmentWord : "";
        note.Title = $"{name}{word}{rest}";
        var mark = Mark(note);
        note.Text = Summary(note, kind, mark, said);
        foreach (var section in note.Section)
        {
            var whenEmpty = section.Section.Count == 0 ? section.EmptyReason?.Text ?? "Nothing is recorded." : null;
            section.Text = Prose.Of($"<p><b>{Prose.Encode(mark)}</b></p>" + (whenEmpty is null ? "" : Prose.Paragraph(whenEmpty)));
        }
    }

    /// <summary>In a few words what the document is worth, for every part of it, since each may be shown alone.</summary>
    public static string Mark(Composition note) => note.Status switch
    {
        CompositionStatus.EnteredInError => "ENTERED IN ERROR. Not to be used.",
        CompositionStatus.Preliminary when note.Attester.Count > 0 => WaitingMark,
        CompositionStatus.Preliminary when note.Author.TrueForAll(a => a.Reference == DraftAuthor.Address) => Prose.DraftMark,
        CompositionStatus.Preliminary => EditedMark,
        _ => $"Signed by {string.Join("; countersigned by ", note.Attester.Select(a => $"{a.Party?.Display} on {Day(a.Time)}"))}.",
    };

    private static Narrative Summary(Composition note, DocumentKind kind, string mark, IReadOnlyList<string> said)
    {
        var urgent = from statement in NoteStatement.Of(note, kind)
                     where statement.IsUrgent && statement.State != StatementState.Removed
                     select $"<p><b>{Prose.Encode(statement.Text)}</b></p>";
        var period = note.Event.FirstOrDefault()?.Period;
        var lines = new List<string>
        {
            $"{note.Title}. Person: {note.Subject?.Display}.",
            $"From {Day(period?.Start)} to {Day(period?.End)}, {kind.LastDay}.",
            $"{(note.Author.Count == 1 ? "Author" : "Authors")}: {string.Join("; ", note.Author.Select(a => a.Display))}. Status: {Hl7.Fhir.Utility.EnumUtility.GetLiteral(note.Status)}.",
        };
        if (note.GetStringExtension(Extensions.AmendmentReason) is { } reason)
            lines.Add($"Replaces the version that was signed before, because: {reason}");
        lines.AddRange(said);
        return new Narrative
        {
            // What a clinician typed stands in it, so it is more than what was generated.
            Status = note.Author.TrueForAll(a => a.Reference == DraftAuthor.Address) ? Narrative.NarrativeStatus.Generated : Narrative.NarrativeStatus.Additional,
            Div = Prose.Of(string.Concat(urgent) + $"<p><b>{Prose.Encode(mark)}</b></p>" + string.Concat(lines.Select(Prose.Paragraph))).Div,
        };
    }

    private static string Day(string? day) =>
        DateOnly.TryParse(day?.Split('T')[0], System.Globalization.CultureInfo.InvariantCulture, out var date) ? Wording.Date(date) : "(no date)";
}
