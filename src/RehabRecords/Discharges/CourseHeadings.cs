using Hl7.Fhir.Model;
using RehabRecords.Clinical;
using RehabRecords.Library;
using RehabRecords.Notes;
using Evidence = RehabRecords.Notes.Evidence;

namespace RehabRecords.Discharges;

/// <summary>The course in numbers: practice, final measures against the first, goals; and what was used for it.</summary>
internal static class CourseHeadings
{
    public static IEnumerable<Statement> Of(DischargeRecord d) =>
    [
        Course(d), .. Outcome(d), .. Attainment(d),
        .. MeasureStatements.Of(d.Whole.Record, d.Whole.Findings).Select(s => s.Under(NoteSection.AssessmentScales)),
        .. d.Programmes.SelectMany(p => AssessmentSection.Goals(p.Record, p.Findings).Select(s => InProgramme(d, p, s, NoteSection.AssessmentScales))),
        .. d.Programmes.SelectMany(p => Practice(d, p)),
        .. Supplied(d), .. Used(d), DischargeRules.NoMedicines.State("", NotKept, new Evidence(d.Whole.Outline.Evidence)),
    ];

    private static Statement Course(DischargeRecord d)
    {
        var sessions = d.Programmes.SelectMany(p => p.Record.Sessions).Select(s => s.Report).ToList();
        var (done, missed) = (sessions.Count(s => s.Done), sessions.Count(s => !s.Done));
        return DischargeRules.Course.State("",
            $"From {Wording.Date(d.Episode.Start)} to {Wording.Date(d.On)}: {Wording.Count(d.Programmes.Count, "home programme")}, {Wording.Count(done, "session")} reported done and {missed} reported missed.",
            new Evidence(d.Programmes[0].Outline.Evidence, [.. d.Programmes.Skip(1).Select(p => p.Outline.Evidence), .. sessions.Select(s => s.Evidence)]),
            new StatedValue(done, "{#}"), new StatedValue(missed, "{#}"));
    }

    /// <summary>The classes of the changes in one sentence; each measure follows in full under its own heading.</summary>
    private static IEnumerable<Statement> Outcome(DischargeRecord d)
    {
        var changes = d.Whole.Findings.Changes;
        if (Evidence.Of(changes.SelectMany(c => c.Evidence)) is not { } evidence)
            yield break;
        var groups = changes.GroupBy(Standing).OrderBy(g => Array.IndexOf(Order, g.Key))
            .Select(g => $"{g.Key}: {Wording.List(g.Select(c => MeasureStatements.Name(d.Whole.Record, c.Measure, c.Last)))}");
        yield return DischargeRules.Outcome.State("", $"First against last result, by measure and side: {string.Join("; ", groups)}.", evidence);
    }

    private const string NotKept = "Medicines are not kept in this record; absence here does not mean that there are none.";

    private const string Better = "better, at or above measurement error";
    private const string Worse = "worse, at or above measurement error";
    private const string Within = "within measurement error";
    private const string NoError = "judged against the important change alone";
    private const string Category = "a category, without a difference";
    private const string Unjudged = "without a threshold to compare with";

    private static readonly string[] Order = [Better, Worse, Within, NoError, Category, Unjudged];

    private static string Standing(MeasureChange change) => change.Class switch
    {
        ChangeClass.DetectableBelowImportant or ChangeClass.Both or ChangeClass.DetectableImportanceUnknown =>
            change.Direction == ChangeDirection.Worsened ? Worse : Better,
        ChangeClass.BelowDetectable or ChangeClass.ImportantWithinError => Within,
        ChangeClass.BelowImportantErrorUnknown or ChangeClass.ImportantErrorUnknown => NoError,
        ChangeClass.CategoryChange or ChangeClass.SameCategory => Category,
        _ => Unjudged,
    };

    private static IEnumerable<Statement> Attainment(DischargeRecord d)
    {
        var goals = d.Programmes.SelectMany(p => p.Findings.Goals).DistinctBy(g => g.Goal.Id).ToList();
        if (Evidence.Of(goals.SelectMany(g => g.Goal.Attained.Select(a => a.Evidence).Append(g.Goal.Evidence))) is not { } evidence)
            yield break;
        var (reached, below, none) = (goals.Count(g => g.Latest?.Level >= 0), goals.Count(g => g.Latest?.Level < 0), goals.Count(g => g.Latest is null));
        yield return DischargeRules.Attainment.State("",
            $"Of {Wording.Count(goals.Count, "goal")}, {reached} at the expected level or above, {below} below it, {none} without a recorded level.",
            evidence, new StatedValue(reached, "{#}"), new StatedValue(below, "{#}"), new StatedValue(none, "{#}"));
    }

    private static IEnumerable<Statement> Practice(DischargeRecord d, ProgrammeCourse programme)
    {
        IEnumerable<Statement> said =
        [
            .. ObjectiveSection.Adherence(programme.Record, programme.Findings), .. DecisionStatements.Revisions(programme.Record),
            .. DecisionStatements.Pauses(programme.Record), .. DecisionStatements.Decisions(programme.Record),
        ];
        return [.. said.Select(s => InProgramme(d, programme, s, NoteSection.Procedures)), .. Doses(programme)];
    }

    /// <summary>Where the episode had several programmes, a sentence about one of them names it.</summary>
    private static Statement InProgramme(DischargeRecord d, ProgrammeCourse programme, Statement statement, NoteSection section) =>
        d.Programmes.Count == 1 ? statement.Under(section) : statement.Under(section, programme.Outline.Id, $"“{programme.Outline.Title}”: ");

    private static IEnumerable<Statement> Doses(ProgrammeCourse programme)
    {
        foreach (var weeks in programme.Findings.Doses.GroupBy(w => w.Planned))
        {
            var occasions = weeks.Sum(w => w.Occasions);
            var (repetitions, planned) = (Sum(weeks.Select(w => (decimal?)w.Repetitions)), Sum(weeks.Select(w => (decimal?)w.PlannedRepetitions)));
            var (minutes, plannedMinutes) = (Sum(weeks.Select(w => w.Minutes)), Sum(weeks.Select(w => w.PlannedMinutes)));
            var parts = new List<string>();
            if (repetitions is not null || planned > 0)
                parts.Add(Amount(repetitions, planned, "repetition", "repetitions"));
            if (minutes is not null)
                parts.Add(Amount(minutes, plannedMinutes, "min", "min"));
            parts.Add($"on {Wording.Count(occasions, "occasion")}");
            var without = weeks.Sum(w => w.WithoutAmount);
            var values = new[] { (repetitions, "{reps}"), (planned, "{reps}"), (minutes, "min") }.Where(v => v.Item1 is not null).Select(v => new StatedValue(v.Item1!.Value, v.Item2));
            yield return DischargeRules.DoseInAll.State(weeks.Key,
                $"{programme.Record.ExerciseName(weeks.Key)}, in all: {string.Join(", ", parts)}{(without > 0 ? $"; {without} of them without an amount" : "")}.",
                NotePhrases.Proof([.. weeks.SelectMany(w => w.Evidence)], programme.Record), [.. values]);
        }
    }

    private static decimal? Sum(IEnumerable<decimal?> parts) => parts.Where(p => p is not null).ToList() is { Count: > 0 } known ? known.Sum() : null;

    private static string Amount(decimal? done, decimal? planned, string one, string many) =>
        planned is > 0 and var due
            // What nobody reported is unknown, not 0.
            ? done is null ? $"none of {Wording.Number(due)} planned {many} reported" : $"{Wording.Number(done.Value)} of {Wording.Number(due)} planned {many} ({Wording.Percent((double)(done.Value / due))})"
            : $"{Wording.Number(done ?? 0)} {(done == 1 ? one : many)}";

    private static IEnumerable<Statement> Supplied(DischargeRecord d)
    {
        if (d.Form.Stated.Equipment is { Count: > 0 } items)
            yield return DischargeRules.Supplied.State("", $"Supplied, as {d.Form.AuthorWords} states: {Wording.Sentence(string.Join("; ", items))}", PersonHeadings.Stated(d));
    }

    private static IEnumerable<Statement> Used(DischargeRecord d)
    {
        var requests = d.AtDischarge.SelectMany(p => p.Last(d.On)).Select(p => p.Request).Where(r => ExerciseParts.EquipmentOf(r).Count > 0).ToList();
        var items = requests.SelectMany(ExerciseParts.EquipmentOf)
            .Select(e => e.HouseholdAlternative is { } or ? $"{e.Item} (or {or})" : e.Item!).Distinct().ToList();
        if (Evidence.Of(requests.Select(r => Progress.Addresses.Evidence(r))) is { } evidence)
            yield return DischargeRules.Used.State("", $"Used for the exercises: {Wording.Sentence(string.Join("; ", items))}", evidence);
    }
}
