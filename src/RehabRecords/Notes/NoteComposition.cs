using Hl7.Fhir.Model;
using RehabRecords.Terms;
using Canonical = RehabRecords.Terms.Canonical;

namespace RehabRecords.Notes;

/// <summary>Who and what a draft is about: everything of it that is not a statement.</summary>
/// <param name="Person">Address of the person, without a version.</param>
/// <param name="Programme">Exact version of the programme.</param>
/// <param name="Number">1 for the first note of the programme, 2 for the next after that was signed, and so on.</param>
/// <param name="From">First day the note speaks of.</param>
/// <param name="To">The day of the latest result: the note is as of that day.</param>
/// <param name="EvidenceAt">When the latest of its evidence reached the record.</param>
public sealed record NoteSubject(
    string Person, string PersonName, string ProgrammeId, string Programme, string ProgrammeTitle, int Number,
    DateOnly From, DateOnly To, DateTimeOffset EvidenceAt);

/// <summary>Statements as a Composition of the profile progress-note, and back.</summary>
public static class NoteComposition
{
    public static Composition Write(NoteSubject subject, IReadOnlyList<Statement> statements)
    {
        var composition = new Composition
        {
            Identifier = new Identifier(Canonical.Identifier("progress-note"), $"{subject.ProgrammeId}/{subject.Number}"),
            Status = CompositionStatus.Preliminary,
            Type = new CodeableConcept(Systems.Loinc, Loinc.ProgressNote, "Physical therapy Progress note", null),
            Subject = new ResourceReference(subject.Person, subject.PersonName),
            DateElement = new FhirDateTime(subject.EvidenceAt),
            Author = [DraftAuthor.Reference()],
            Title = $"Progress note (draft): {subject.ProgrammeTitle}",
            Event =
            [
                new Composition.EventComponent
                {
                    Period = new Period { Start = Day(subject.From), End = Day(subject.To) },
                    Detail = [new ResourceReference(subject.Programme, subject.ProgrammeTitle)],
                },
            ],
            Text = Summary(subject, statements),
            Section = Sections(Headings.Soap, statements),
        };
        composition.Profiled(Profiles.ProgressNote);
        return composition;
    }

    /// <summary>The statements of a stored note as the software drafted them, in reading order; a clinician's own are not among them.</summary>
    public static IReadOnlyList<Statement> Read(Composition composition) =>
        [.. from section in composition.Section
            let heading = Headings.Of(section)
            from statement in section.Section
            where statement.Code.CodeIn(Systems.NoteRule) != Documents.NoteStatement.OwnRule
            select ReadStatement(statement, heading)];

    /// <summary>Every heading, in its order, with the statements that stand under it.</summary>
    public static List<Composition.SectionComponent> Sections(IReadOnlyList<Heading> headings, IReadOnlyList<Statement> statements) =>
        [.. headings.Select(heading => Section(heading, [.. statements.Where(s => s.Section == heading.Section)]))];

    private static Composition.SectionComponent Section(Heading part, IReadOnlyList<Statement> statements)
    {
        var section = new Composition.SectionComponent
        {
            Title = part.Title,
            Code = new CodeableConcept(part.System, part.Code),
            Text = statements.Count > 0 ? Prose.Marked() : Prose.Marked(part.WhenEmpty),
            Section = [.. statements.Select(Write)],
            // Once more what stands below: search and the check before a deletion see entries of this level only.
            Entry = [.. statements.SelectMany(s => s.Evidence).Distinct().Order(StringComparer.Ordinal).Select(a => new ResourceReference(a))],
        };
        if (statements.Count == 0)
            section.EmptyReason = new CodeableConcept("http://terminology.hl7.org/CodeSystem/list-empty-reason", part.EmptyReason, part.WhenEmpty);
        return section;
    }

    private static Composition.SectionComponent Write(Statement statement) => new()
    {
        ElementId = statement.Id,
        Code = new CodeableConcept(Systems.NoteRule, statement.Rule.Id, statement.Rule.Title, null),
        Text = Prose.Of(Prose.Paragraph(statement.Text)),
        Entry = [.. statement.Evidence.Select(a => new ResourceReference(a))],
        Extension = [.. statement.Values.Select(v => new Extension(Extensions.StatedValue, Concepts.Ucum(v.Number, v.Unit)))],
    };

    private static Statement ReadStatement(Composition.SectionComponent written, NoteSection section)
    {
        var evidence = Evidence.Of(written.Entry.Select(e => e.Reference).OfType<string>()) ?? throw Lacks("evidence");
        var rule = NoteRules.Of(written.Code.CodeIn(Systems.NoteRule) ?? throw Lacks("rule"), section);
        return new Statement(
            written.ElementId ?? throw Lacks("id"), rule, written.GetStringExtension(Extensions.DraftedText) ?? Prose.Words(written.Text?.Div ?? throw Lacks("text")), evidence,
            [.. written.GetExtensions(Extensions.StatedValue).Select(e => e.Value).OfType<Quantity>().Select(q => new StatedValue(q.Value ?? 0, q.Code ?? "1"))])
        {
            Section = section,
        };

        static FormatException Lacks(string part) => new($"A statement of a stored note has no {part}.");
    }

    private static Narrative Summary(NoteSubject subject, IReadOnlyList<Statement> statements)
    {
        var urgent = statements.Where(s => s.Rule == NoteRules.UrgentFlag).Select(s => $"<p><b>{Prose.Encode(s.Text)}</b></p>");
        return Prose.Of(string.Concat(urgent)
            + $"<p><b>{Prose.Encode(Prose.DraftMark)}</b></p>"
            + Prose.Paragraph($"Progress note (draft) on {subject.PersonName}. Programme: {subject.ProgrammeTitle}.")
            + Prose.Paragraph($"From {Wording.Date(subject.From)} to {Wording.Date(subject.To)}, the day of the latest result. "
                + $"Author: {DraftAuthor.Name}. Status: preliminary."));
    }

    private static string Day(DateOnly day) => day.ToString("yyyy-MM-dd");
}
