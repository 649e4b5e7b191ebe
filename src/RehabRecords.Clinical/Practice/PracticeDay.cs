namespace RehabRecords.Clinical;

/// <summary>What is known of the practice of one day.</summary>
public enum DayState
{
    /// <summary>Nothing was due and nothing was reported.</summary>
    NothingDue,

    /// <summary>Everything that was due was reported as done.</summary>
    Done,

    /// <summary>Of several occasions some were done, others were missed or have no report.</summary>
    Partly,

    /// <summary>Reported as missed.</summary>
    Missed,

    /// <summary>Nothing is known to be done, and of at least one occasion there is no report: it may have been done or not.</summary>
    Unknown,

    /// <summary>Practised although nothing was due.</summary>
    Extra,

    /// <summary>Paused by a clinician.</summary>
    Paused,
}

/// <summary>Practice occasions of one day of a programme.</summary>
/// <param name="Day">The day, in the programme's zone.</param>
/// <param name="Done">Occasions reported as done that were due.</param>
/// <param name="Missed">Occasions reported as missed.</param>
/// <param name="Unknown">Occasions due by this day without a report.</param>
/// <param name="Extra">Sessions beyond what was due.</param>
/// <param name="Paused">Whether the programme was paused.</param>
/// <param name="Evidence">Addresses of the reports of the day.</param>
public sealed record PracticeDay(DateOnly Day, int Done, int Missed, int Unknown, int Extra, bool Paused, IReadOnlyList<string> Evidence)
{
    /// <summary>The day in one word. What was done counts even on a paused day.</summary>
    public DayState State => (Done, Missed, Unknown, Extra) switch
    {
        (0, 0, 0, 0) => Paused ? DayState.Paused : DayState.NothingDue,
        (0, 0, 0, _) => DayState.Extra,
        (0, _, 0, _) => DayState.Missed,
        (0, _, _, _) => DayState.Unknown,
        (_, 0, 0, _) => DayState.Done,
        _ => DayState.Partly,
    };

    /// <summary>
    /// Every day from the first to the last, both included. The occasions are matched as <see cref="Adherence.OfProgramme"/>
    /// matches them, so the days add up to what it counts.
    /// </summary>
    /// <param name="plan">All prescriptions of the programme, revisions included.</param>
    /// <param name="reports">Session reports in any order.</param>
    /// <param name="from">First day.</param>
    /// <param name="to">Last day, included; none when it lies before <paramref name="from"/>.</param>
    public static IReadOnlyList<PracticeDay> Calendar(IReadOnlyList<PlannedExercise> plan, IReadOnlyList<SessionReport> reports, DateOnly from, DateOnly to)
    {
        ArgumentNullException.ThrowIfNull(plan);
        var matched = Adherence.Match(plan, reports, from, to);
        var occasions = matched.Occasions.ToLookup(o => o.Day);
        var extra = matched.Extra.ToLookup(r => r.Day);
        var days = new List<PracticeDay>();
        for (var day = from; day <= to; day = day.AddDays(1))
        {
            var due = occasions[day].ToList();
            days.Add(new(
                day,
                due.Count(o => o.Report is { Done: true }), due.Count(o => o.Report is { Done: false }), due.Count(o => o.Report is null), extra[day].Count(),
                plan.Count > 0 && plan.All(p => p.Schedule.Pauses.Any(pause => pause.Covers(day))),
                [.. due.Select(o => o.Report).Concat(extra[day]).OfType<Report>().Select(r => r.Evidence).Distinct()]));
        }
        return days;
    }
}
