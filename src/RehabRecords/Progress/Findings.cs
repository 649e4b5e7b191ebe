using RehabRecords.Clinical;

namespace RehabRecords.Progress;

/// <summary>What a series of session results is of.</summary>
public enum PracticeSeries
{
    /// <summary>Repetitions of one session.</summary>
    Repetitions,

    /// <summary>Pain during the exercise, 0 to 10.</summary>
    PainDuring,
}

/// <summary>The trend of an exercise over its sessions.</summary>
public sealed record PracticeTrend(PlannedExercise Exercise, PracticeSeries Series, Trend Trend);

/// <summary>The trend of a measure on one side, with the change from first to last beside it: the two can disagree.</summary>
public sealed record MeasureTrend(MeasureDefinition Measure, Side? Side, Trend Trend, MeasureChange? Change)
{
    /// <summary>A consistent trend whose end-to-end change is nevertheless within measurement error.</summary>
    public bool DisagreesWithError =>
        Trend.Verdict is TrendVerdict.Improving or TrendVerdict.Worsening
        && Change?.Class is ChangeClass.BelowDetectable or ChangeClass.ImportantWithinError;
}

/// <summary>The latest result of a measure and side beside the norm, or why it has no place there.</summary>
/// <param name="Refused">Why no norm can be read; null when one can.</param>
public sealed record NormFinding(MeasureDefinition Measure, MeasureResult Result, NormComparison? Comparison, string? Refused)
{
    /// <summary>A table from memory is shown as such where one looks for it, and is never put into a note.</summary>
    public bool Confirmed => Comparison is { Table.Source.Mark: not Mark.FromMemory };
}

/// <summary>A goal with the level at the start and now.</summary>
public sealed record GoalProgress(ProgrammeGoal Goal, AttainedLevel? Baseline, AttainedLevel? Latest);

/// <summary>An open red flag with what its catalogue says of it.</summary>
public sealed record OutstandingFlag(RaisedRedFlag Raised, RedFlag Flag);

/// <summary>How many of the results of done exercises hold an item; what is not recorded is never taken as 0.</summary>
/// <param name="Evidence">Results that lack it.</param>
public sealed record Completeness(string Item, int Recorded, int Of, IReadOnlyList<string> Evidence);

/// <summary>Everything that the rules find in one programme. Nothing here is stored; it is computed from the record each time.</summary>
public sealed record ProgrammeFindings(DateOnly From, DateOnly To, Adherence Adherence)
{
    public IReadOnlyList<Dose> Doses { get; init; } = [];

    public IReadOnlyList<Dose> OverPractice { get; init; } = [];

    public IReadOnlyList<PracticeTrend> PracticeTrends { get; init; } = [];

    public IReadOnlyList<MeasureTrend> MeasureTrends { get; init; } = [];

    public IReadOnlyList<MeasureChange> Changes { get; init; } = [];

    /// <summary>Of each measure with a norm table, the latest completed result of each side.</summary>
    public IReadOnlyList<NormFinding> Norms { get; init; } = [];

    public IReadOnlyList<GoalProgress> Goals { get; init; } = [];

    public GoalAttainment? Attainment { get; init; }

    public IReadOnlyList<OutstandingFlag> Flags { get; init; } = [];

    public IReadOnlyList<ProgressionSuggestion> Suggestions { get; init; } = [];

    /// <summary>By prescription, the decision that has answered the suggestion that stands; a suggestion without one is still open.</summary>
    public IReadOnlyDictionary<string, Decision> Answered { get; init; } = new Dictionary<string, Decision>();

    public IReadOnlyList<Completeness> Completeness { get; init; } = [];

    /// <summary>Definitions of the measures that occur, by id; one that the catalogue does not know is missing here.</summary>
    public IReadOnlyDictionary<string, MeasureDefinition> Measures { get; init; } = new Dictionary<string, MeasureDefinition>();

    /// <summary>The rules that were applied.</summary>
    public ClinicRules Rules { get; init; } = ClinicRules.Default;

    /// <summary>True while an open flag stops every suggestion to go on.</summary>
    public bool Frozen => Flags.Any(f => f.Flag.Freezes);
}

/// <summary>From the record of a programme to its findings: a pure function, without clock, store or order of arrival.</summary>
public static class Findings
{
    /// <summary>How far back "recent" goes, in days. Common practice, no source.</summary>
    public const int RecentDays = 14;

    /// <summary>How far back the trend of practice looks, in days: what went on half a year ago would drown it. Common practice, no source.</summary>
    public const int TrendDays = 42;

    /// <param name="rules">The clinic's rules; always said, so that none of its limits is passed over unnoticed.</param>
    /// <param name="asOf">Last day that counts; the day of the latest result when left out.</param>
    public static ProgrammeFindings Of(ProgrammeRecord record, MeasureCatalogue catalogue, ClinicRules rules, DateOnly? asOf = null)
    {
        var overPractice = (double)rules.Progression["over-practice-share"];
        var plan = record.Plan;
        var reports = record.Reports;
        var (from, to) = (record.Programme.Start, asOf ?? record.AsOf);
        var doses = Dose.PerWeek(plan, reports, to);
        var changes = MeasureChange.All(catalogue, Known(record.Measures, catalogue), record.Person.Context);
        var goals = record.Goals.Select(Progress).ToList();
        var flags = record.RedFlags.Where(f => f.Open).Select(f => new OutstandingFlag(f, SafetyScreen.Get(f.Code)))
            .OrderBy(f => f.Flag.Urgency).ThenBy(f => f.Raised.Since).ThenBy(f => f.Raised.Code, StringComparer.Ordinal).ToList();
        var suggestions = Progression.Suggest(new ProgressionInput(
            plan, reports, [.. flags.Where(f => f.Flag.Freezes).Select(f => new OpenFlag(f.Raised.Code, f.Raised.Since, f.Raised.Evidence))],
            to, record.Programme.PainLimit), rules.Progression);
        return new ProgrammeFindings(from, to, Adherence.OfProgramme(plan, reports, from, to))
        {
            Doses = doses,
            OverPractice = [.. doses.Where(d => d.RepetitionRatio > overPractice || (d.RepetitionRatio is null && d.MinuteRatio > overPractice))],
            PracticeTrends = [.. plan.DistinctBy(p => p.Id).SelectMany(p => PracticeTrends(p, [.. reports.Where(r => r.Day > to.AddDays(-TrendDays))]))],
            MeasureTrends = [.. MeasureTrends(record.Measures, changes, catalogue)],
            Changes = changes,
            Norms = [.. NormsOf(record, catalogue)],
            Goals = goals,
            Attainment = goals.Count == 0 ? null : GoalAttainment.Of([.. goals.Select(Attained)]),
            Flags = flags,
            Suggestions = suggestions,
            Answered = Answered(suggestions, record, to),
            Rules = rules,
            Completeness = [.. Complete([.. reports.Where(r => r.Day > to.AddDays(-RecentDays))])],
            Measures = record.Measures.Select(m => catalogue.Find(m.Measure)).OfType<MeasureDefinition>().DistinctBy(m => m.Id).ToDictionary(m => m.Id),
        };
    }

    /// <summary>Adherence to each exercise, in order of the plan. A note states the programme's; this is for who looks closer.</summary>
    public static IReadOnlyList<(PlannedExercise Exercise, Adherence Adherence)> ByExercise(ProgrammeRecord record)
    {
        var (plan, reports, from, to) = (record.Plan, record.Reports, record.Programme.Start, record.AsOf);
        return [.. plan.GroupBy(p => p.Id).Select(versions => (versions.Last(), Adherence.OfExercise(versions.Key, plan, reports, from, to)))];
    }

    /// <summary>
    /// A suggestion is answered while nothing has been reported since the decision took effect and the rules still say what
    /// they said then; a late report that changes what they say opens it again. A red flag is answered by its clearance only.
    /// </summary>
    private static Dictionary<string, Decision> Answered(IEnumerable<ProgressionSuggestion> suggestions, ProgrammeRecord record, DateOnly asOf) =>
        (from suggestion in suggestions
         let last = record.Decisions.LastOrDefault(d => d.Planned == suggestion.Planned && d.AnswersSuggestion)
         where last is not null && suggestion.Suggestion != Suggestion.StopAndReview && last.From > asOf && last.Suggested == suggestion.Suggestion.Code() && last.Rule == suggestion.Rule
         select (suggestion.Planned, last)).ToDictionary(a => a.Planned, a => a.last);

    /// <summary>A measure that the catalogue does not know can be shown but not judged.</summary>
    private static List<MeasureResult> Known(IEnumerable<MeasureResult> results, MeasureCatalogue catalogue) =>
        [.. results.Where(r => catalogue.Find(r.Measure) is not null)];

    private static IEnumerable<PracticeTrend> PracticeTrends(PlannedExercise exercise, IReadOnlyList<SessionReport> reports)
    {
        var done = (from report in reports
                    where report.Done && report.DoneAt is not null
                    from result in report.Exercises
                    where result.Planned == exercise.Id && result.Done
                    select (At: report.DoneAt!.Value, Result: result)).ToList();
        var repetitions = done.Where(d => d.Result.Repetitions is not null)
            .Select(d => new TrendPoint(d.At, d.Result.Repetitions!.Value, d.Result.Evidence)).ToList();
        if (repetitions.Count > 0)
            yield return new PracticeTrend(exercise, PracticeSeries.Repetitions, Trend.Of(repetitions, Direction.HigherIsBetter, "repetitions"));
        var pain = done.Where(d => d.Result.PainDuring is not null)
            .Select(d => new TrendPoint(d.At, d.Result.PainDuring!.Value, d.Result.Evidence)).ToList();
        if (pain.Count > 0)
            yield return new PracticeTrend(exercise, PracticeSeries.PainDuring, Trend.Of(pain, Direction.LowerIsBetter, "points"));
    }

    private static IEnumerable<MeasureTrend> MeasureTrends(
        IReadOnlyList<MeasureResult> results, IReadOnlyList<MeasureChange> changes, MeasureCatalogue catalogue) =>
        from result in Known(results, catalogue)
        where result is { Status: MeasureStatus.Completed, Value: not null, PartOf: null }
        let measure = catalogue.Get(result.Measure)
        group result by (measure, result.Side, Variant: measure.VariantOf(result), result.Site) into series
        where series.Count() >= 2
        let measure = series.Key.measure
        where measure.Scale != ScaleKind.Grades
        select new MeasureTrend(measure, series.Key.Side,
            Trend.Of([.. series.Select(r => new TrendPoint(r.MeasuredAt, (double)measure.ValueOf(r)!.Value, r.Evidence))], measure.Direction, measure.UnitText),
            changes.FirstOrDefault(c => c.Measure == measure && c.Side == series.Key.Side
                && measure.VariantOf(c.Last) == series.Key.Variant && c.Last.Site == series.Key.Site));

    /// <summary>A norm that cannot be read is no error: the reason is kept beside the result.</summary>
    private static IEnumerable<NormFinding> NormsOf(ProgrammeRecord record, MeasureCatalogue catalogue)
    {
        var latest = Known(record.Measures, catalogue)
            .Where(r => r.Status == MeasureStatus.Completed && Clinical.Norms.Tables.Any(t => t.Measure == r.Measure))
            .GroupBy(r => (r.Measure, r.Side)).Select(series => series.Last())
            .OrderBy(r => catalogue.Get(r.Measure).Order).ThenBy(r => r.Side);
        foreach (var result in latest)
        {
            NormComparison? comparison = null;
            string? refused = null;
            try
            {
                comparison = Clinical.Norms.Compare(result, record.Person.Context);
            }
            catch (UnfitInputException unfit)
            {
                refused = unfit.Message;
            }
            yield return new NormFinding(catalogue.Get(result.Measure), result, comparison, refused);
        }
    }

    /// <summary>The baseline is the first level recorded, and only once a later one stands beside it.</summary>
    private static GoalProgress Progress(ProgrammeGoal goal) => new(
        goal, goal.Attained.Count > 1 ? goal.Attained[0] : null, goal.Attained.Count > 0 ? goal.Attained[^1] : null);

    private static AttainedGoal Attained(GoalProgress goal) => new(
        goal.Goal.Id, goal.Goal.Importance, goal.Goal.Difficulty, goal.Baseline?.Level, goal.Latest?.Level,
        [goal.Goal.Evidence, .. new[] { goal.Baseline?.Evidence, goal.Latest?.Evidence }.OfType<string>()])
    {
        Title = goal.Goal.Description,
    };

    private static IEnumerable<Completeness> Complete(IReadOnlyList<SessionReport> reports)
    {
        var done = reports.Where(r => r.Done).SelectMany(r => r.Exercises).Where(e => e.Done).ToList();
        if (done.Count == 0)
            yield break;
        (string Item, Func<ExerciseReport, bool> Has)[] items =
        [
            ("amount practised", e => e.Repetitions is not null || e.Minutes is not null),
            ("pain during practice", e => e.PainDuring is not null),
            ("quality", e => e.Quality is not null),
            ("effort", e => e.Exertion is not null),
        ];
        foreach (var (item, has) in items)
        {
            var lacking = done.Where(e => !has(e)).Select(e => e.Evidence).ToList();
            yield return new Completeness(item, done.Count - lacking.Count, done.Count, lacking);
        }
    }
}
