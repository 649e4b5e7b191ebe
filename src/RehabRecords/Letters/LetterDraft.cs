using Hl7.Fhir.Model;
using RehabRecords.Discharges;
using RehabRecords.Library;
using RehabRecords.Notes;
using RehabRecords.Programmes;
using RehabRecords.Terms;
using Canonical = RehabRecords.Terms.Canonical;
using Evidence = RehabRecords.Notes.Evidence;

namespace RehabRecords.Letters;

/// <summary>
/// From record and form to the draft of a letter to the next team: the same record and form give the same bytes. What it
/// tells of the course, the measures and the risks is what a discharge summary would tell on that day.
/// </summary>
internal static class LetterDraft
{
    /// <summary>Sentences of the discharge summary that hold for somebody who is not discharged.</summary>
    private static readonly HashSet<NoteRule> Shared =
    [
        DischargeRules.Gp, DischargeRules.Diagnosis, DischargeRules.Course, DischargeRules.Outcome, DischargeRules.Attainment, DischargeRules.DoseInAll, DischargeRules.Used, DischargeRules.NoMedicines,
        DischargeRules.OpenFlag, DischargeRules.ClearedFlag, DischargeRules.Precaution, DischargeRules.PainLimit, DischargeRules.NoHarm, DischargeRules.Legal, DischargeRules.Social,
        DischargeRules.Carer, DischargeRules.Requirements, DischargeRules.Wishes, DischargeRules.LastWords, DischargeRules.Information, DischargeRules.Briefing, DischargeRules.Contact,
    ];

    public static IReadOnlyList<Statement> Statements(DischargeRecord d, LetterRequest letter)
    {
        IEnumerable<Statement> all = [.. PersonHeadings.Of(d), .. CourseHeadings.Of(d), .. SafetyHeadings.Of(d), .. PlanHeadings.Of(d)];
        var kept = all.Where(s => Shared.Contains(s.Rule) || !DischargeRules.All.Contains(s.Rule));
        List<Statement> statements = [.. Own(d, letter), .. kept];
        return [.. Headings.Letter.SelectMany(h => statements.Where(s => s.Section == h.Section))];
    }

    private static IEnumerable<Statement> Own(DischargeRecord d, LetterRequest letter)
    {
        var (who, stated) = (d.Form.AuthorWords, PersonHeadings.Stated(d));
        yield return LetterRules.To.State("", $"To {Named(letter.To!)}", stated);
        foreach (var (copy, i) in letter.Copies!.Select((c, i) => (c, i)))
            yield return LetterRules.Copy.State($"{i + 1}", $"Copy to {Named(copy)}", stated);
        yield return PersonHeadings.Person(d, LetterRules.Person, "");
        yield return LetterRules.Reason.State("", $"{who}, hands the care over {(letter.From is { } from ? $"from {Wording.Date(from)}" : "(no day is settled yet)")}, because: {NotePhrases.Quote(letter.Reason!)}", stated);
        yield return LetterRules.Request.State("", $"Asked of you, in the words of {who}: {NotePhrases.Quote(letter.Request!)}", stated);
        yield return PersonHeadings.Condition(d, LetterRules.Condition, "before this letter");
        foreach (var programme in d.AtDischarge)
        {
            var (outline, plan) = (programme.Outline, programme.Record.Resources.OfType<CarePlan>().Single(p => p.Id == programme.Outline.Id));
            var standing = plan.Status == RequestStatus.OnHold ? "on hold" : outline.End < d.On || plan.Status != RequestStatus.Active ? "ended" : "in force";
            yield return LetterRules.Programme.State(outline.Id,
                $"Home programme “{outline.Title}”{(outline.Level is { } level ? $", level {level}" : "")}, {standing}, from {Wording.Date(outline.Start)} {(outline.End is { } end ? $"to {Wording.Date(end)}" : "without an end")}; every exercise follows in brief. "
                + "Whether it goes on, and how, is the registered clinician's to decide who takes over.",
                new Evidence(outline.Evidence, programme.Last(d.On).Select(p => Progress.Addresses.Evidence(p.Request))));
            foreach (var (prescription, request) in programme.Last(d.On))
                yield return LetterRules.Exercise.State(prescription.Planned.Id, $"{programme.Record.ExerciseName(prescription.Planned.Id)}: {InBrief(request)}", new Evidence(Progress.Addresses.Evidence(request)));
        }

        yield return LetterRules.Author.State("", $"Written by {who}; the rest was drafted by software from the record.", stated);
    }

    /// <summary>Steps, equipment and every caution are in the prescription itself, which goes with the programme.</summary>
    private static string InBrief(ServiceRequest request)
    {
        var setUp = ExerciseParts.SetUpOf(request);
        string?[] said =
        [
            setUp is null ? null : PlainWords.Dosage(setUp.Dosage), Timings.Often(Timings.Whole(Timings.From(request.Occurrence as Timing))),
            setUp?.Position is { } position ? CodeLists.Position.Words(position) : null, setUp?.HelpLevel is { } help ? CodeLists.HelpLevel.Words(help) : null,
            request.Note.FirstOrDefault()?.Text is { } own ? $"For this person: {NotePhrases.Quote(own)}" : null,
        ];
        return string.Join(' ', said.Where(s => !string.IsNullOrEmpty(s)).Select(s => Wording.Capital(Wording.Sentence(s!))));
    }

    private static string Named(RecipientRequest who) => Wording.Sentence(string.Join(", ", new[] { who.Name, who.Role, who.Organisation }.Where(p => !string.IsNullOrEmpty(p))));

    /// <param name="number">The letter's own identifier: person and number.</param>
    public static Composition Compose(DischargeRecord d, LetterRequest letter, string number)
    {
        var person = d.Whole.Record.Person;
        var composition = new Composition
        {
            Identifier = new Identifier(Canonical.Identifier("transfer-letter"), number),
            Status = CompositionStatus.Preliminary,
            Type = new CodeableConcept(Systems.Loinc, Loinc.TransferSummary) { Text = "Transfer letter" },
            Subject = new ResourceReference(person.Address, person.Name),
            DateElement = new FhirDateTime(d.EvidenceAt),
            Author = [DraftAuthor.Reference()],
            Title = $"Transfer letter (draft): {person.Name}",
            Event =
            [
                new Composition.EventComponent
                {
                    Period = new Period { Start = Timings.Iso(d.Episode.Start), End = Timings.Iso(d.On) },
                    // The latest programme first, as in a note; the form, from which the draft can be made again, last.
                    Detail = [.. d.Programmes.Reverse().Select(p => new ResourceReference(p.Outline.Evidence, p.Outline.Title)), new ResourceReference(d.Form.Evidence, "Form of the letter")],
                },
            ],
            Text = Prose.Of($"<p><b>{Prose.Encode(Prose.DraftMark)}</b></p>"
                + Prose.Paragraph($"Transfer letter (draft) on {person.Name}, to {Named(letter.To!)}")
                + Prose.Paragraph($"Care from {Wording.Date(d.Episode.Start)} to {Wording.Date(d.On)}, the day of the letter. Author: {DraftAuthor.Name}. Status: preliminary.")),
            Section = NoteComposition.Sections(Headings.Letter, Statements(d, letter)),
        };
        composition.Profiled(Profiles.TransferLetter);
        return composition;
    }
}
