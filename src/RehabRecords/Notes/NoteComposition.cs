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
    private static readonly (NoteSection Section, string Title, string Loinc, string WhenEmpty)[] Parts =
    [
        (NoteSection.Subjective, "Subjective", Loinc.Subjective, "Nothing said by the person or a carer has been recorded."),
        (NoteSection.Objective, "Objective", Loinc.Objective, "No results have been recorded."),
        (NoteSection.Assessment, "Assessment", Loinc.Assessment, "There is not enough in the record to describe a course."),
        (NoteSection.Plan, "Plan", Loinc.PlanOfCare, "No rule makes a suggestion from this record."),
    ];

    public static string Title(NoteSection section) => Parts[(int)section].Title;

    public static string WhenEmpty(NoteSection section) => Parts[(int)section].WhenEmpty;

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
            Section = [.. Parts.Select(part => Section(part, [.. statements.Where(s => s.Section == part.Section)]))],
        };
        composition.Profiled(Profiles.ProgressNote);
        return composition;
    }

    /// <summary>The statements of a stored note, in reading order.</summary>
    public static IReadOnlyList<Statement> Read(Composition composition) =>
        [.. from section in composition.Section
            let part = Array.Find(Parts, p => section.Code is not null && section.Code.Coding.Any(c => c.Code == p.Loinc))
            from extension in section.GetExtensions(Extensions.NoteStatement)
            select ReadStatement(extension, part.Section)];

    private static Composition.SectionComponent Section(
        (NoteSection Section, string Title, string Loinc, string WhenEmpty) part, IReadOnlyList<Statement> statements)
    {
        var section = new Composition.SectionComponent
        {
            Title = part.Title,
            Code = new CodeableConcept(Systems.Loinc, part.Loinc),
            Text = Prose.Section(statements, part.WhenEmpty),
            Extension = [.. statements.Select(Write)],
            Entry = [.. statements.SelectMany(s => s.Evidence).Distinct().Order(StringComparer.Ordinal).Select(a => new ResourceReference(a))],
        };
        if (statements.Count == 0)
            section.EmptyReason = new CodeableConcept("http://terminology.hl7.org/CodeSystem/list-empty-reason", "unavailable", part.WhenEmpty);
        return section;
    }

    private static Extension Write(Statement statement)
    {
        var extension = new Extension { Url = Extensions.NoteStatement };
        extension.AddExtension(Extensions.Statement.Id, new FhirString(statement.Id));
        extension.AddExtension(Extensions.Statement.Text, new FhirString(statement.Text));
        extension.AddExtension(Extensions.Statement.Rule, new Code(statement.Rule.Id));
        extension.AddExtension(Extensions.Statement.Kind, new Code(statement.Kind));
        foreach (var address in statement.Evidence)
            extension.AddExtension(Extensions.Statement.Evidence, new ResourceReference(address));
        foreach (var value in statement.Values)
            extension.AddExtension(Extensions.Statement.Value, Concepts.Ucum(value.Number, value.Unit));
        return extension;
    }

    private static Statement ReadStatement(Extension extension, NoteSection section)
    {
        string Text(string part) => (extension.GetExtension(part)?.Value switch
        {
            FhirString text => text.Value,
            Code code => code.Value,
            _ => null,
        }) ?? throw new FormatException($"A statement of a stored note has no {part}.");
        var evidence = Evidence.Of(extension.GetExtensions(Extensions.Statement.Evidence)
                .Select(e => (e.Value as ResourceReference)?.Reference).OfType<string>())
            ?? throw new FormatException("A statement of a stored note has no evidence.");
        var rule = NoteRules.Of(Text(Extensions.Statement.Rule), section, Text(Extensions.Statement.Kind));
        return new Statement(
            Text(Extensions.Statement.Id), rule, Text(Extensions.Statement.Text), evidence,
            [.. extension.GetExtensions(Extensions.Statement.Value).Select(e => e.Value).OfType<Quantity>().Select(q => new StatedValue(q.Value ?? 0, q.Code ?? "1"))]);
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
