namespace RehabRecords.Clinical;

/// <summary>How one report stands to what was prescribed.</summary>
internal enum Outcome
{
    Success,
    Mixed,
    Failure,
    NotTried,
    NotKnown,
}

/// <summary>One report of an exercise and how it is read.</summary>
internal sealed record Attempt(Report Report, Outcome Outcome, double? Share)
{
    public ExerciseReport? Result => Report.Result;
}

/// <summary>What the rules see of one exercise under its present prescription: earlier levels do not count towards the next step.</summary>
/// <param name="Exercise">The version in force.</param>
/// <param name="Last">The last occasions, newest first, as many as are needed; null for one without a report.</param>
/// <param name="Attempts">All reports under this version, newest first.</param>
/// <param name="Adherence">Adherence over the days the rules count.</param>
/// <param name="LongestGapDays">Longest run of days, in days, over which due occasions have no report.</param>
/// <param name="Needed">Reports needed for a step ahead.</param>
/// <param name="PainLimit">The programme's own pain limit.</param>
internal sealed record Picture(
    PlannedExercise Exercise, IReadOnlyList<Attempt?> Last, IReadOnlyList<Attempt> Attempts, Adherence Adherence, int LongestGapDays, int Needed, int PainLimit)
{
    public Attempt? Latest => Attempts.Count > 0 ? Attempts[0] : null;

    /// <summary>The last two that were done, with the instant; the rise of pain that lasts is seen in them.</summary>
    public IReadOnlyList<Attempt> LastDone => [.. Attempts.Where(attempt => attempt.Result is { Done: true } && attempt.Report.At is not null).Take(2)];

    /// <summary>The last two that say how tired the person was.</summary>
    public IReadOnlyList<Attempt> FatigueReported => [.. Attempts.Where(attempt => attempt.Result?.Fatigue is not null).Take(2)];

    /// <summary>The last that were tried, as many as make a row of failures; a missed day between does not hide one.</summary>
    public IReadOnlyList<Attempt> LastTried(ProgressionRules rules) =>
        [.. Attempts.Where(attempt => attempt.Outcome != Outcome.NotTried).Take((int)rules["failures-in-a-row"])];

    /// <summary>Addresses of what the rules looked at, newest first: three reports at least, and all that the deciding rule stands on.</summary>
    public IEnumerable<string> Evidence(string rule, ProgressionRules rules)
    {
        var decided = rule switch
        {
            "step-back-failures" => LastTried(rules),
            "step-back-pain-lasting" => LastDone,
            "hold-fatigue" => FatigueReported,
            _ => [],
        };
        return new[] { Exercise.Evidence }
            .Concat(Attempts.Take(Math.Max(Needed, 3)).Concat(decided).Select(attempt => attempt.Report.Evidence))
            .Concat(rule == "hold-adherence" ? Adherence.Evidence : []);
    }

    public static string NeededLimit(PlannedExercise exercise) => exercise.LowRisk ? "reports-needed-low-risk" : "reports-needed";

    public static Picture Of(PlannedExercise exercise, ProgressionInput input, ProgressionRules rules)
    {
        var (start, asOf) = (exercise.Schedule.Start, input.AsOf);
        var plan = new[] { exercise };
        var reports = Adherence.ReportsOf(exercise.Id, input.Reports).Where(r => r.Day >= start && r.Day <= asOf).ToList();
        var matched = Matched.Of(exercise.Schedule.Due(start, asOf), reports, start, asOf);
        // Of a day partly reported, the silent occasion is taken as the later one: missing data weighs first.
        var occasions = matched.Occasions.Where(o => o.Report is not null || o.Due.By < asOf)
            .Select(o => (o.Day, o.Report))
            .Concat(matched.Extra.Select(r => (r.Day, Report: (Report?)r)))
            .OrderByDescending(o => o.Day).ThenBy(o => o.Report is not null).ThenByDescending(o => o.Report?.At)
            .ThenByDescending(o => o.Report?.Evidence, StringComparer.Ordinal)
            .Select(o => o.Report is { } report ? Read(report, exercise, rules) : null).ToList();
        var needed = (int)rules[NeededLimit(exercise)];
        var from = asOf.AddDays(1 - (int)rules["adherence-days"]);
        return new(exercise, [.. occasions.Take(needed)], [.. occasions.OfType<Attempt>()],
            Adherence.OfExercise(exercise.Id, plan, input.Reports, from > start ? from : start, asOf),
            LongestGap(matched, asOf), needed, input.PainLimit);
    }

    public IReadOnlyList<RuleInput> Inputs(ProgressionRules rules)
    {
        var last = Latest?.Result;
        static string Known(object? value) => value is null ? "not reported" : $"{value}";
        return
        [
            new("last reports", Last.Count == 0 ? "none" : string.Join(", ", Last.Select(a => a is null ? "no report" : Word(a)))),
            new("reports needed", $"{Needed}"),
            new("pain before, during, after", $"{Known(last?.PainBefore)}, {Known(last?.PainDuring)}, {Known(last?.PainAfter)}"),
            new("exertion", last?.Exertion is { } exertion ? $"{exertion.Value:0.#} ({(exertion.Scale == ExertionScale.ZeroToTen ? "0 to 10" : "6 to 20")})" : "not reported"),
            new("fatigue", Known(last?.Fatigue)),
            new($"adherence, last {rules["adherence-days"]:0} days", Adherence.Lower is { } low ? $"{low:P0} to {Adherence.Upper:P0}" : "nothing was due"),
            new("longest run without a report", $"{LongestGapDays} days"),
            new("locked", Exercise.Locked ? "yes" : "no"),
        ];
    }

    private static string Word(Attempt attempt) => attempt.Outcome switch
    {
        Outcome.Success => "success",
        Outcome.Mixed => "partly",
        Outcome.Failure => "failure",
        Outcome.NotTried => "not done",
        _ => "incomplete report",
    } + (attempt.Share is { } share ? $" ({share:P0})" : "");

    // A success needs both: enough of the prescribed amount, and the exercise's own quality criterion met.
    private static Attempt Read(Report report, PlannedExercise exercise, ProgressionRules rules)
    {
        if (report.Result is not { } result || !report.Done)
            return new(report, (report.Result?.Skipped ?? report.Session.Reason) == NotDoneReason.TooHard ? Outcome.Failure : Outcome.NotTried, null);
        var share = ShareOf(result, exercise.Dosage);
        var outcome = (share, result.Quality) switch
        {
            (_, Quality.NotMet) => Outcome.Failure,
            ({ } done, _) when done < (double)rules["failure-share"] => Outcome.Failure,
            (null, _) or (_, null) => Outcome.NotKnown,
            ({ } done, Quality.Met) when done >= (double)rules["success-share"] => Outcome.Success,
            _ => Outcome.Mixed,
        };
        return new(report, outcome, share);
    }

    private static double? ShareOf(ExerciseReport result, Dosage dosage) =>
        dosage.RepetitionsPerOccasion is > 0 and var repetitions ? (double?)result.Repetitions / repetitions
        : dosage.Minutes is > 0 and var minutes ? (double?)(result.Minutes / minutes)
        : null;

    private static int LongestGap(Matched matched, DateOnly asOf)
    {
        var longest = 0;
        DateOnly? began = null;
        foreach (var occasion in matched.Occasions.Where(o => o.Report is not null || o.Due.By < asOf))
        {
            if (occasion.Report is not null)
            {
                began = null;
                continue;
            }
            began ??= occasion.Day;
            longest = Math.Max(longest, occasion.Day.DayNumber - began.Value.DayNumber + 1);
        }
        return longest;
    }
}
