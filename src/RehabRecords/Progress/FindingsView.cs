using RehabRecords.Clinical;

namespace RehabRecords.Progress;

/// <summary>What was computed of a programme, as /api answers it. Addresses are under /fhir/ and name exact versions.</summary>
/// <param name="From">First day of the programme.</param>
/// <param name="To">The day of the latest result: everything is as of that day.</param>
public sealed record FindingsView(
    string Programme, string Title, DateOnly From, DateOnly To, AdherenceView Adherence, IReadOnlyList<DoseView> Dose,
    IReadOnlyList<TrendView> Trends, IReadOnlyList<ChangeView> Changes, IReadOnlyList<NormView> Norms, IReadOnlyList<GoalView> Goals,
    AttainmentView? GoalAttainment, IReadOnlyList<FlagView> Flags, IReadOnlyList<SuggestionView> Suggestions, IReadOnlyList<CompletenessView> Completeness,
    IReadOnlyList<DecisionView> Decisions, IReadOnlyList<PauseView> Pauses)
{
    /// <summary>The same by exercise, with the same definition; in a person's progress only.</summary>
    public IReadOnlyList<ExerciseAdherenceView> AdherenceByExercise { get; init; } = [];

    public FindingsView ByExercise(ProgrammeRecord record, AdherenceRule rule) => this with
    {
        AdherenceByExercise = [.. Findings.ByExercise(record).Select(e => new ExerciseAdherenceView(e.Exercise.Id, e.Exercise.Exercise, e.Exercise.Title, AdherenceView.Of(e.Adherence, rule)))],
    };

    public static FindingsView Of(ProgrammeRecord record, ProgrammeFindings findings) => new(
        record.Programme.Id, record.Programme.Title, findings.From, findings.To,
        AdherenceView.Of(findings.Adherence, findings.Rules.Adherence),
        [.. findings.Doses.Select(DoseView.Of)],
        [
            .. findings.MeasureTrends.Select(t => TrendView.Of(t.Measure.Id, t.Side, t.Measure.Unit, t.Trend)),
            .. findings.PracticeTrends.Select(t => TrendView.Of(
                $"{t.Exercise.Exercise}/{(t.Series == PracticeSeries.Repetitions ? "repetitions" : "pain-during")}", null,
                t.Series == PracticeSeries.Repetitions ? "{reps}" : "{score}", t.Trend)),
        ],
        [.. findings.Changes.Select(ChangeView.Of)],
        [.. findings.Norms.Select(NormView.Of)],
        [.. findings.Goals.Select(GoalView.Of)],
        AttainmentView.Of(findings.Attainment),
        [.. findings.Flags.Select(f => FlagView.Of(f, record.Programme.TimeZone))],
        [.. findings.Suggestions.Select(s => SuggestionView.Of(s, findings.Answered.GetValueOrDefault(s.Planned)))],
        [.. findings.Completeness.Select(c => new CompletenessView(c.Item, c.Recorded, c.Of))],
        [.. record.Decisions.Select(DecisionView.Of)],
        [.. record.Pauses.Select(PauseView.Of)]);
}

/// <param name="Lower">0 to 1, as if every session without a report had been missed; null when nothing was due.</param>
/// <param name="Upper">0 to 1, as if every session without a report had been done.</param>
/// <param name="Extra">Done beyond the plan; never makes up for another day.</param>
/// <param name="Definition">Id of the definition of "adherent" in force; GET /api/rules shows it.</param>
/// <param name="Meets">Whether it is met; null when the bounds lie on both sides, or nothing was due.</param>
public sealed record AdherenceView(
    DateOnly From, DateOnly To, int Due, int Done, int NotDone, int Unknown, int Extra, double? Lower, double? Upper, string Text, string Definition, bool? Meets)
{
    public static AdherenceView Of(Adherence a, AdherenceRule rule) =>
        new(a.From, a.To, a.Due, a.Done, a.NotDone, a.Unknown, a.Extra, Rounded(a.Lower), Rounded(a.Upper), a.Text, rule.Id, a.Due == 0 ? null : a.Meets(rule));

    private static double? Rounded(double? ratio) => ratio is { } value ? Math.Round(value, 4) : null;
}

public sealed record ExerciseAdherenceView(string Prescription, string Exercise, string Title, AdherenceView Adherence);

/// <param name="Planned">Repetitions planned in the part of the week up to the latest result; null when none are prescribed.</param>
public sealed record DoseView(
    string Prescription, string Exercise, string Title, int Week, DateOnly WeekStart, int? Repetitions, int? PurposefulRepetitions,
    decimal? Minutes, int? Planned, decimal? PlannedMinutes, int Occasions, int WithoutAmount)
{
    public static DoseView Of(Dose d) => new(
        d.Planned, d.Exercise, d.Title, d.Week, d.WeekStart, d.Repetitions, d.PurposefulRepetitions, d.Minutes,
        d.PlannedRepetitions, d.PlannedMinutes, d.Occasions, d.WithoutAmount);
}

/// <param name="Series">A measure id, or exercise code and "repetitions" or "pain-during".</param>
/// <param name="Unit">UCUM code of the values; slopes are per 7 days.</param>
public sealed record TrendView(
    string Series, string? Side, string Unit, int Count, double? SlopePerWeek, double? Low, double? High, double? P, string Verdict, string Text,
    IReadOnlyList<string> Evidence)
{
    public static TrendView Of(string series, Side? side, string unit, Trend t) =>
        new(series, side?.Code(), unit, t.Count, t.SlopePerWeek, t.LowPerWeek, t.HighPerWeek, t.P, t.Verdict.Code(), t.Text, t.Evidence);
}

/// <param name="Class">How the change stands to measurement error and importance.</param>
/// <param name="Detectable">Minimal detectable change used; null when none fits.</param>
public sealed record ChangeView(
    string Measure, string? Side, string? Site, string? Variant, string Text, string Class, string Direction, decimal? Difference, string Unit,
    ThresholdView? Detectable, ThresholdView? Important, IReadOnlyList<string> Notes, IReadOnlyList<string> Evidence)
{
    public static ChangeView Of(MeasureChange c) => new(
        c.Measure.Id, c.Side?.Code(), c.Last.Site, c.Last.Variant, c.Text, c.Class.Code(), c.Direction.Code(), c.Difference, c.Measure.Unit,
        ThresholdView.Of(c.Detectable), ThresholdView.Of(c.Important), c.Notes, c.Evidence);
}

/// <param name="Row">Id of the row in the measures catalogue.</param>
/// <param name="Why">Why this row was chosen.</param>
/// <param name="Misfit">What of it does not fit this person; null when all fits.</param>
public sealed record ThresholdView(
    string Row, decimal Value, int? Level, string Hand, string Population, string Source, string Mark, string Why, string? Misfit)
{
    public static ThresholdView? Of(ThresholdChoice? choice) => choice is null ? null : new(
        choice.Row.Id, choice.Value, choice.Row.Level, choice.Row.Hand.Code(), choice.Row.Population.Text, choice.Row.Source.Citation,
        choice.Row.Source.MarkText, choice.Why, choice.Misfit);
}

/// <param name="Z">Standard deviations from the mean; positive is better. Null with <paramref name="Refused"/>.</param>
/// <param name="Table">Id of the norm table; its cells are in GET /api/measures/catalogue.</param>
/// <param name="Mark">How far the table was confirmed. One from memory is to be confirmed, and is not put into a note.</param>
/// <param name="Confirmed">Whether the table may be quoted in a note.</param>
/// <param name="Refused">Why no norm can be read of this result.</param>
public sealed record NormView(
    string Measure, string? Side, double? Z, double? PercentOfMean, decimal? Mean, decimal? Sd, string? Unit, string? Table, string? Source, string? Mark,
    bool Confirmed, string? Text, string? Refused, IReadOnlyList<string> Evidence)
{
    public static NormView Of(NormFinding n) => new(
        n.Measure.Id, n.Result.Side?.Code(), Rounded(n.Comparison?.Z, 2), Rounded(n.Comparison?.PercentOfMean, 1), n.Comparison?.Cell.Mean, n.Comparison?.Cell.Sd,
        n.Comparison?.Table.Unit, n.Comparison?.Table.Id, n.Comparison?.Table.Source.Citation, MarkOf(n), n.Confirmed, n.Comparison?.Text, n.Refused, [n.Result.Evidence]);

    private static string? MarkOf(NormFinding n) =>
        n.Comparison is null ? null : n.Confirmed ? n.Comparison.Table.Source.MarkText : "from memory, to be confirmed";

    private static double? Rounded(double? value, int decimals) => value is { } number ? Math.Round(number, decimals, MidpointRounding.AwayFromZero) : null;
}

/// <param name="Baseline">T-score at the start, over the same goals as <paramref name="Outcome"/>; null when no goal has both levels.</param>
/// <param name="Goals">Ids of the goals that entered both scores.</param>
/// <param name="LeftOut">Goals left out, with the reason.</param>
public sealed record AttainmentView(
    double? Baseline, double? Outcome, double? Change, IReadOnlyList<string> Goals, IReadOnlyList<string> LeftOut, string Text, IReadOnlyList<string> Evidence)
{
    public static AttainmentView? Of(GoalAttainment? a) => a is null ? null : new(
        Rounded(a.Baseline), Rounded(a.Outcome), Rounded(a.Change), [.. a.Goals.Select(g => g.Id)], a.LeftOut, a.Text, a.Evidence);

    private static double? Rounded(double? score) => score is { } value ? Math.Round(value, 2, MidpointRounding.AwayFromZero) : null;
}

public sealed record GoalView(string Id, string Description, int? Baseline, int? Latest, DateOnly? Due)
{
    public static GoalView Of(GoalProgress g) => new(g.Goal.Id, g.Goal.Description, g.Baseline?.Level, g.Latest?.Level, g.Goal.Due);
}

/// <param name="Urgency">emergency, urgent-review or note-at-next-review.</param>
public sealed record FlagView(string Id, string Code, string Urgency, DateTimeOffset Since, string Text, bool Freezes)
{
    public static FlagView Of(OutstandingFlag f, string timeZone) => new(
        f.Raised.Id, f.Raised.Code, f.Flag.Urgency.Code(), f.Raised.Since,
        $"{f.Flag.Title}, {Schedule.DayOf(f.Raised.Since, timeZone):d MMMM yyyy}. {f.Flag.Text}", f.Flag.Freezes);
}

/// <param name="Suggestion">advance, hold, step-back or stop-and-review; a clinician confirms or overrides.</param>
/// <param name="Rule">The progression rule that decided.</param>
/// <param name="RuleSet">Version of the rule set; GET /api/rules shows its limits.</param>
/// <param name="ClinicChanges">What the clinic set otherwise than the rules that ship; null when nothing.</param>
/// <param name="Source">Where the rule comes from, with its mark.</param>
/// <param name="Answered">Id of the decision that has answered it; null while it is open.</param>
public sealed record SuggestionView(
    string Prescription, string Exercise, string Title, string Suggestion, string Rule, string RuleSet, string? ClinicChanges, string Reason, string Source,
    IReadOnlyList<OptionView> Options, IReadOnlyList<RuleInput> Inputs, IReadOnlyList<string> Evidence, string? Answered)
{
    public static SuggestionView Of(ProgressionSuggestion s, Decision? answered) => new(
        s.Planned, s.Exercise, s.Title, s.Suggestion.Code(), s.Rule, s.RuleSet, s.ClinicChanges, s.Reason, s.Source.ToString(),
        [.. s.Options.Select(o => new OptionView(o.Dimension.Code(), o.Text))], s.Inputs, s.Evidence, answered?.Id);
}

public sealed record OptionView(string Dimension, string Text);

public sealed record CompletenessView(string Item, int Recorded, int Of);

/// <param name="Decision">advance, hold, step-back or stop on a suggestion; revise, add or stop in a revision of the programme.</param>
/// <param name="Suggested">What was suggested when it was made; null in a revision.</param>
/// <param name="Change">What it changed in the prescription, in words.</param>
public sealed record DecisionView(
    string Id, string Prescription, string Decision, string? Suggested, bool Overrides, DateOnly From, DateTimeOffset At, string By, string? Reason, bool? Lock, string? Change)
{
    public static DecisionView Of(Decision d) => new(d.Id, d.Planned, d.Code, d.Suggested, d.Overrides, d.From, d.At, d.By, d.Reason, d.Lock, d.Change);
}

/// <param name="From">First day on which nothing is due.</param>
/// <param name="To">Last such day, included; null while it is open.</param>
public sealed record PauseView(DateOnly From, DateOnly? To, string? Reason, string By, DateTimeOffset? At, string? EndedBy, DateTimeOffset? EndedAt)
{
    public static PauseView Of(ProgrammePause p) => new(p.Days.From, p.Days.To, p.Days.Reason, p.By, p.At, p.EndedBy, p.EndedAt);
}
