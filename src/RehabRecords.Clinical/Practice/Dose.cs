namespace RehabRecords.Clinical;

/// <summary>What was practised of one exercise in one week of the programme. Sums hold only what was reported.</summary>
/// <param name="Planned">Id of the prescription.</param>
/// <param name="Exercise">Code of the exercise.</param>
/// <param name="Title">Name in plain words.</param>
/// <param name="Week">Week of the programme, from 1, counted in sevens from its first day.</param>
/// <param name="WeekStart">First day of that week.</param>
/// <param name="Repetitions">Repetitions reported; null when no report gave any.</param>
/// <param name="PurposefulRepetitions">Purposeful repetitions reported, counted apart; null when no report gave any.</param>
/// <param name="Minutes">Minutes reported; null when no report gave any.</param>
/// <param name="PlannedRepetitions">Repetitions prescribed in the part of the week up to the last day counted; null when not prescribed in repetitions.</param>
/// <param name="PlannedMinutes">Minutes prescribed likewise.</param>
/// <param name="Occasions">Occasions on which the exercise was reported as done.</param>
/// <param name="WithoutAmount">Of these, occasions whose report gave neither repetitions nor minutes.</param>
/// <param name="Evidence">Addresses of prescription and results.</param>
public sealed record Dose(
    string Planned, string Exercise, string Title, int Week, DateOnly WeekStart,
    int? Repetitions, int? PurposefulRepetitions, decimal? Minutes, int? PlannedRepetitions, decimal? PlannedMinutes,
    int Occasions, int WithoutAmount, IReadOnlyList<string> Evidence)
{
    /// <summary>Repetitions done over prescribed, uncapped; null when either is missing or nothing was prescribed.</summary>
    public double? RepetitionRatio => Repetitions is { } done && PlannedRepetitions is > 0 and var due ? (double)done / due : null;

    /// <summary>As <see cref="RepetitionRatio"/>, at most 1.</summary>
    public double? RepetitionRatioCapped => RepetitionRatio is { } ratio ? Math.Min(1, ratio) : null;

    /// <summary>Minutes done over prescribed, uncapped.</summary>
    public double? MinuteRatio => Minutes is { } done && PlannedMinutes is > 0 and var due ? (double)(done / due) : null;

    /// <summary>As <see cref="MinuteRatio"/>, at most 1.</summary>
    public double? MinuteRatioCapped => MinuteRatio is { } ratio ? Math.Min(1, ratio) : null;

    /// <summary>In plain words, with what is missing.</summary>
    public string Text
    {
        get
        {
            var parts = new List<string>();
            if (Repetitions is { } repetitions)
                parts.Add($"{repetitions}{(PlannedRepetitions is > 0 and var due ? $" of {due} repetitions ({RepetitionRatio:P0})" : " repetitions")}");
            if (PurposefulRepetitions is { } purposeful)
                parts.Add($"{purposeful} of them purposeful");
            if (Minutes is { } minutes)
                parts.Add($"{minutes:0.#}{(PlannedMinutes is > 0 and var planned ? $" of {planned:0.#} minutes ({MinuteRatio:P0})" : " minutes")}");
            if (parts.Count == 0)
                parts.Add(Occasions == 0 ? "no practice reported" : "no amount reported");
            if (WithoutAmount > 0)
                parts.Add($"{WithoutAmount} of {Occasions} occasions without an amount");
            return $"{Title}, week {Week}: {string.Join(", ", parts)}.";
        }
    }

    /// <summary>Whether more was practised than the share of the prescribed amount from which the clinician is told.</summary>
    /// <param name="rules">Progression rules; null takes those that ship.</param>
    public bool OverPractised(ProgressionRules? rules = null) =>
        Math.Max(RepetitionRatio ?? 0, MinuteRatio ?? 0) > (double)(rules ?? ProgressionRules.Default)["over-practice-share"];

    /// <summary>
    /// Dose of every exercise in every week from the programme's first day to the last day counted, in order of the plan and
    /// week. A week in which the exercise was neither due nor done is left out. Results of prescriptions that the plan does
    /// not hold are not counted.
    /// </summary>
    /// <param name="plan">Prescriptions, revisions included; the first day of the earliest one starts week 1.</param>
    /// <param name="reports">Session reports in any order.</param>
    /// <param name="to">Last day, included.</param>
    public static IReadOnlyList<Dose> PerWeek(IReadOnlyList<PlannedExercise> plan, IReadOnlyList<SessionReport> reports, DateOnly to)
    {
        ArgumentNullException.ThrowIfNull(plan);
        ArgumentNullException.ThrowIfNull(reports);
        if (plan.Count == 0)
            return [];
        var start = plan.Min(exercise => exercise.Schedule.Start);
        var results = reports.Where(s => s.Done && s.Day >= start && s.Day <= to)
            .SelectMany(s => s.Exercises.Where(e => e.Done).Select(Result => (Session: s, Result)))
            .ToLookup(r => (r.Result.Planned, Week: WeekOf(r.Session.Day, start)));
        var doses = new List<Dose>();
        foreach (var versions in PlanInForce.Versions(plan))
        {
            var due = versions.SelectMany(version => version.Schedule.Due(start, to).Where(d => d.By <= to).Select(d => (Version: version, d.By)))
                .ToLookup(d => WeekOf(d.By, start));
            for (var week = 1; week <= WeekOf(to, start); week++)
            {
                var done = results[(versions[0].Id, week)]
                    .OrderBy(r => r.Session.Day).ThenBy(r => r.Session.DoneAt).ThenBy(r => r.Result.Evidence, StringComparer.Ordinal).ToList();
                if (due[week].Any() || done.Count > 0)
                    doses.Add(Of(versions, week, start, [.. due[week].Select(d => d.Version)], done));
            }
        }
        return doses;
    }

    private static Dose Of(
        IReadOnlyList<PlannedExercise> versions, int week, DateOnly start, List<PlannedExercise> due, List<(SessionReport Session, ExerciseReport Result)> done)
    {
        var weekStart = start.AddDays(7 * (week - 1));
        var holds = due.Count > 0 ? due[^1] : versions.On(weekStart.AddDays(6)) ?? versions[^1];
        var evidence = due.Select(version => version.Evidence).DefaultIfEmpty(holds.Evidence).Concat(done.Select(r => r.Result.Evidence));
        return new(
            holds.Id, holds.Exercise, holds.Title, week, weekStart,
            Sum(done.Select(r => r.Result.Repetitions)), Sum(done.Select(r => r.Result.PurposefulRepetitions)), Sum(done.Select(r => r.Result.Minutes)),
            Sum(due.Select(version => version.Dosage.RepetitionsPerOccasion)), Sum(due.Select(version => version.Dosage.Minutes)),
            done.Select(r => r.Session.Evidence).Distinct().Count(),
            done.GroupBy(r => r.Session.Evidence).Count(g => g.All(r => r.Result.Repetitions is null && r.Result.Minutes is null)),
            [.. evidence.Distinct()]);
    }

    private static int WeekOf(DateOnly day, DateOnly start) => (day.DayNumber - start.DayNumber) / 7 + 1;

    // Null only when nothing was given: a sum of what is known, never a 0 for what is not.
    private static int? Sum(IEnumerable<int?> amounts) => amounts.Aggregate((int?)null, (sum, next) => next is null ? sum : (sum ?? 0) + next);

    private static decimal? Sum(IEnumerable<decimal?> amounts) => amounts.Aggregate((decimal?)null, (sum, next) => next is null ? sum : (sum ?? 0) + next);
}
