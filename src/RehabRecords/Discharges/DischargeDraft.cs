using Hl7.Fhir.Model;
using RehabRecords.Notes;
using RehabRecords.Programmes;
using RehabRecords.Terms;
using Canonical = RehabRecords.Terms.Canonical;

namespace RehabRecords.Discharges;

/// <summary>From record and form to the draft of a discharge summary: the same record and form give the same bytes.</summary>
internal static class DischargeDraft
{
    public static IReadOnlyList<Statement> Statements(DischargeRecord d)
    {
        Statement[] all = [.. PersonHeadings.Of(d), .. CourseHeadings.Of(d), .. SafetyHeadings.Of(d), .. PlanHeadings.Of(d)];
        return [.. Headings.Discharge.SelectMany(h => all.Where(s => s.Section == h.Section))];
    }

    /// <param name="number">The summary's own identifier: episode and number.</param>
    public static Composition Compose(DischargeRecord d, string number)
    {
        var statements = Statements(d);
        var person = d.Whole.Record.Person;
        var composition = new Composition
        {
            Identifier = new Identifier(Canonical.Identifier("discharge-summary"), number),
            Status = CompositionStatus.Preliminary,
            Type = new CodeableConcept(Systems.Loinc, Loinc.DischargeSummary, "Discharge summary", null),
            Subject = new ResourceReference(person.Address, person.Name),
            DateElement = new FhirDateTime(d.EvidenceAt),
            Author = [DraftAuthor.Reference()],
            Title = $"Discharge summary (draft): {person.Name}",
            Event =
            [
                new Composition.EventComponent
                {
                    Period = new Period { Start = Timings.Iso(d.Episode.Start), End = Timings.Iso(d.On) },
                    // The latest programme first, as in a note; the form, from which the draft can be made again, last.
                    Detail =
                    [
                        .. d.Programmes.Reverse().Select(p => new ResourceReference(p.Outline.Evidence, p.Outline.Title)),
                        new ResourceReference(d.Episode.Evidence, "Episode of care"),
                        new ResourceReference(d.Form.Evidence, "Discharge form"),
                    ],
                },
            ],
            Text = Prose.Of($"<p><b>{Prose.Encode(Prose.DraftMark)}</b></p>"
                + Prose.Paragraph($"Discharge summary (draft) on {person.Name}.")
                + Prose.Paragraph($"Episode from {Wording.Date(d.Episode.Start)} to {Wording.Date(d.On)}, the day of discharge. Author: {DraftAuthor.Name}. Status: preliminary.")),
            Section = NoteComposition.Sections(Headings.Discharge, statements),
        };
        composition.Profiled(Profiles.DischargeSummary);
        return composition;
    }
}
