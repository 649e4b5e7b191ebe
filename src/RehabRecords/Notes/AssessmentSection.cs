using RehabRecords.Clinical;
using RehabRecords.Progress;

namespace RehabRecords.Notes;

/// <summary>What course the numbers describe: never a diagnosis, never a reassurance, and where two methods disagree, both.</summary>
internal static class AssessmentSection
{
    public static IEnumerable<Statement> Of(ProgrammeRecord record, ProgrammeFindings findings) =>
        [.. Measures(record, findings), .. Practice(record, findings), .. Goals(record, findings), .. OverPractice(record, findings)];

    private static IEnumerable<Statement> Measures(ProgrammeRecord record, ProgrammeFindings findings)
    {
        foreach (var found in findings.MeasureTrends.Where(t => Shown(t.Trend)))
        {
            var name = record.MeasureName(found.Measure.Title, found.Side);
            var subject = MeasureStatements.Subject(found.Measure.Id, found.Side);
            yield return NoteRules.MeasureTrend.State(subject,
                $"{name}: {Verdict(found.Trend)} trend over {Wording.Count(found.Trend.Count, "result")}, {Slope(found.Trend, found.Measure.UnitText)}. Descriptive only.",
                NotePhrases.Proof(found.Trend.Evidence, record), Slopes(found.Trend, $"{found.Measure.Unit}/wk"));
            if (found is { DisagreesWithError: true, Change: { Difference: { } difference, Detectable: { } error } })
                yield return NoteRules.TrendAndErrorDisagree.State(subject,
                    $"{name}: the trend is consistent, but the change from first to last, {found.Measure.Value(Math.Abs(difference))}, "
                    + $"is within measurement error ({found.Measure.Threshold(error.Value)}{Hand(error)}). Both are stated; neither decides alone.",
                    NotePhrases.Proof([.. found.Trend.Evidence, .. found.Change.Evidence], record),
                    new StatedValue(difference, found.Measure.Unit), new StatedValue(error.Value, found.Measure.Unit));
        }
    }

    private static string Hand(ThresholdChoice choice) => choice.Row.Hand switch
    {
        HandRole.MoreAffected or HandRole.AffectedDominant or HandRole.AffectedNonDominant => " for the affected hand",
        HandRole.LessAffected => " for the less affected hand",
        _ => "",
    };

    private static IEnumerable<Statement> Practice(ProgrammeRecord record, ProgrammeFindings findings)
    {
        foreach (var found in findings.PracticeTrends.Where(t => Shown(t.Trend)))
            yield return NoteRules.PracticeTrend.State(
                $"{found.Exercise.Id}.{(found.Series == PracticeSeries.Repetitions ? "repetitions" : "pain")}",
                $"{record.ExerciseName(found.Exercise.Id)}: {Series(found.Series)} {Course(found)} over {Wording.Count(found.Trend.Count, "result")} in the {Findings.TrendDays} days to {Wording.Date(record.AsOf)}, "
                + $"{Slope(found.Trend, found.Series == PracticeSeries.Repetitions ? "repetitions" : "points")}. Descriptive only.",
                NotePhrases.Proof(found.Trend.Evidence, record),
                Slopes(found.Trend, found.Series == PracticeSeries.Repetitions ? "{reps}/wk" : "{score}/wk"));

        var all = findings.MeasureTrends.Select(t => (Name: record.MeasureName(t.Measure.Title, t.Side), t.Trend))
            .Concat(findings.PracticeTrends.Select(t => (Name: $"{record.ExerciseName(t.Exercise.Id)}, {Series(t.Series)}", t.Trend))).ToList();
        var none = all.Where(t => t.Trend.Verdict == TrendVerdict.NoTrendShown).ToList();
        if (none.Count > 0)
            yield return NoteRules.NoTrend.State("", $"No consistent trend shown: {Counted(none)}.", NotePhrases.Proof([.. none.SelectMany(t => t.Trend.Evidence)], record));
        var few = all.Where(t => t.Trend.Verdict == TrendVerdict.TooFewPoints).ToList();
        if (few.Count > 0)
            yield return NoteRules.TooFewForTrend.State("", $"Too few results for a trend (fewer than 5): {Counted(few)}.", NotePhrases.Proof([.. few.SelectMany(t => t.Trend.Evidence)], record));
    }

    private static string Counted(IEnumerable<(string Name, Trend Trend)> series) => string.Join("; ", series.Select(s => $"{s.Name}: {s.Trend.Count}"));

    private static bool Shown(Trend trend) => trend.Verdict is TrendVerdict.Improving or TrendVerdict.Worsening or TrendVerdict.Changing;

    private static string Verdict(Trend trend) => trend.Verdict switch
    {
        TrendVerdict.Improving => "improving",
        TrendVerdict.Worsening => "worsening",
        _ => "changing",
    };

    /// <summary>More repetitions or less pain is a course, not yet an improvement.</summary>
    private static string Course(PracticeTrend found) =>
        found.Trend.Verdict == TrendVerdict.Improving == (found.Series == PracticeSeries.Repetitions) ? "rising" : "falling";

    private static string Series(PracticeSeries series) => series == PracticeSeries.Repetitions ? "repetitions in a session" : "pain during practice";

    private static string Slope(Trend trend, string unit)
    {
        var interval = trend is { LowPerWeek: { } low, HighPerWeek: { } high } ? $"95 % interval {Wording.Number(low, 2)} to {Wording.Number(high, 2)}" : "too few results for an interval";
        var p = trend.P is not { } value ? "" : value < 0.001 ? "; p < 0.001" : $"; p = {Wording.Fixed(value, 3)}";
        return $"{Wording.Number(trend.SlopePerWeek ?? 0, 2)} {unit} a week ({interval}{p})";
    }

    private static List<StatedValue> Slopes(Trend trend, string unit) =>
        [.. new[] { trend.SlopePerWeek, trend.LowPerWeek, trend.HighPerWeek }.OfType<double>()
            .Select(v => new StatedValue(Math.Round((decimal)v, 4, MidpointRounding.AwayFromZero), unit))];

    internal static IEnumerable<Statement> Goals(ProgrammeRecord record, ProgrammeFindings findings)
    {
        foreach (var found in findings.Goals)
        {
            var name = $"Goal “{found.Goal.Description}”";
            if (found.Latest is not { } latest)
            {
                yield return NoteRules.GoalNotRated.State(found.Goal.Id, $"{name}: no level recorded yet.", new Evidence(found.Goal.Evidence));
                continue;
            }
            var described = found.Goal.Levels.GetValueOrDefault(latest.Level) is { Length: > 0 } words ? $" ({NotePhrases.Quote(words)})" : "";
            var start = found.Baseline is { } baseline ? $"; level {Level(baseline.Level)} on {On(baseline)} at the start" : "";
            yield return NoteRules.GoalLevel.State(found.Goal.Id,
                $"{name}: level {Level(latest.Level)} on {On(latest)}{described}{start}. Level 0 is the expected one.",
                new Evidence(found.Goal.Evidence, found.Goal.Attained.Select(a => a.Evidence)),
                new StatedValue(latest.Level, "{score}"));
        }

        if (findings.Attainment is { Baseline: { } before, Outcome: { } now, Change: { } change } attainment)
            yield return NoteRules.GoalScore.State("",
                $"Goal attainment T-score over {Wording.Count(attainment.Goals.Count, "goal")}: {Wording.Fixed(before, 1)} at the start, {Wording.Fixed(now, 1)} now, change {Signed(change)}. It is read beside the levels.",
                NotePhrases.Proof(attainment.Evidence, record),
                [.. new[] { before, now, change }.Select(v => new StatedValue(Math.Round((decimal)v, 4, MidpointRounding.AwayFromZero), "{score}"))]);

        string On(AttainedLevel level) => Wording.Date(Schedule.DayOf(level.At, record.Programme.TimeZone));
    }

    private static string Level(int level) => level > 0 ? $"+{level}" : Wording.Number((decimal)level);

    private static string Signed(double value) => value > 0 ? $"+{Wording.Fixed(value, 1)}" : Wording.Fixed(value, 1);

    private static IEnumerable<Statement> OverPractice(ProgrammeRecord record, ProgrammeFindings findings)
    {
        var last = findings.Doses.Select(d => d.Week).DefaultIfEmpty(0).Max();
        foreach (var dose in findings.OverPractice.Where(d => d.Week >= last - 1))
        {
            var amount = dose.RepetitionRatio is { } ratio
                ? $"{dose.Repetitions} of {dose.PlannedRepetitions} planned repetitions ({Wording.Percent(ratio)})"
                : $"{Wording.Number(dose.Minutes!.Value)} of {Wording.Number(dose.PlannedMinutes!.Value)} planned minutes ({Wording.Percent(dose.MinuteRatio!.Value)})";
            yield return NoteRules.OverPractice.State($"{dose.Planned}.week-{dose.Week}",
                $"{record.ExerciseName(dose.Planned)}, week {dose.Week}: {amount}, more than {Wording.Percent((double)findings.Rules.Progression["over-practice-share"])} of what was prescribed. Ask about it.",
                NotePhrases.Proof(dose.Evidence, record));
        }
    }
}
