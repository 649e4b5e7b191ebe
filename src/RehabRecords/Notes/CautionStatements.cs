using RehabRecords.Clinical;
using RehabRecords.Progress;
using RehabRecords.Terms;

namespace RehabRecords.Notes;

/// <summary>
/// Cautions that apply by what is known of the person now but that the prescription does not hold, because the precaution
/// was recorded later. The person at home has not been told; the clinician should know.
/// </summary>
internal static class CautionStatements
{
    public static IEnumerable<Statement> Of(ProgrammeRecord record)
    {
        var codes = record.Precautions.Select(p => p.Code).Distinct().ToList();
        if (codes.Count == 0)
            yield break;
        var newly = from prescription in record.InForce
                    from caution in Cautions.For(prescription.CautionTags, codes)
                    where caution.Precautions.Count > 0 && !prescription.CautionsTold.Contains(caution.Code)
                    group prescription by caution into exercises
                    orderby CodeLists.Caution.Place(exercises.Key.Code)
                    select exercises;
        foreach (var exercises in newly)
        {
            var caution = exercises.Key;
            var under = record.Precautions.Where(p => caution.Precautions.Contains(p.Code)).ToList();
            yield return NoteRules.CautionNewlyApplies.State(
                caution.Code,
                $"{caution.Title} now applies to {Wording.List(exercises.Select(p => record.ExerciseName(p.Planned.Id)))}: {Wording.List(under.Select(Recorded))} "
                + $"{(under.Count == 1 ? "is" : "are")} recorded for the person, and the prescription does not say so yet. "
                + $"{Wording.Sentence(caution.Text)} ({caution.Source.InFull}.) {Cautions.Closing}",
                new Evidence(under[0].Evidence, [.. under.Skip(1).Select(p => p.Evidence), .. exercises.Select(p => p.Planned.Evidence)]));
        }
    }

    private static string Recorded(PersonPrecaution precaution) =>
        CodeLists.Precaution.Words(precaution.Code) + (precaution.Since is { } since ? $" (since {Wording.Date(since)})" : "");
}
