namespace RehabRecords.Clinical;

/// <summary>
/// How much of what was due was done. A due occasion without a report is unknown, never "not done":
/// the truth lies between <see cref="Lower"/> and <see cref="Upper"/>.
/// </summary>
/// <param name="From">First day counted.</param>
/// <param name="To">Last day counted, whole.</param>
/// <param name="Due">Occasions due by the last day (those of an open week at an even pace, or done ahead of it).</param>
/// <param name="Done">Reported as done.</param>
/// <param name="NotDone">Reported as missed or skipped.</param>
/// <param name="Unknown">Due without a report.</param>
/// <param name="Extra">Done beyond what was due; never offsets another day.</param>
/// <param name="Evidence">Addresses of the prescriptions and reports that were counted.</param>
public sealed record Adherence(DateOnly From, DateOnly To, int Due, int Done, int NotDone, int Unknown, int Extra, IReadOnlyList<string> Evidence)
{
    /// <summary>Lower bound 0 to 1: every unknown occasion was missed. Null when nothing was due.</summary>
    public double? Lower => Share(Done);

    /// <summary>Upper bound 0 to 1: every unknown occasion was done. Null when nothing was due.</summary>
    public double? Upper => Share(Done + Unknown);

    /// <summary>All that was done, extra included, over what was due; may exceed 1, which is a safety signal. Null when nothing was due.</summary>
    public double? Uncapped => Share(Done + Extra);

    /// <summary>As <see cref="Uncapped"/>, at most 1.</summary>
    public double? Capped => Uncapped is { } ratio ? Math.Min(1, ratio) : null;

    /// <summary>Share of due occasions that have a report, 0 to 1. Null when nothing was due.</summary>
    public double? Completeness => Share(Done + NotDone);

    /// <summary>In plain words, with the doubt.</summary>
    public string Text
    {
        get
        {
            if (Due == 0)
                return Extra == 0 ? "Nothing was due." : $"Nothing was due; {Extra} done.";
            var (low, high) = ($"{100.0 * Done / Due:F0}", $"{100.0 * (Done + Unknown) / Due:F0}");
            var text = $"{Done} of {Due} due done, {NotDone} not done, {Unknown} without a report: "
                + (Unknown == 0 ? $"{low} %." : $"between {low} and {high} %.");
            return Extra == 0 ? text : $"{text} {Extra} done beyond what was due.";
        }
    }

    /// <summary>
    /// Whether the person is adherent by the rule: yes or no only when both bounds agree, otherwise null (cannot be said).
    /// Null too when nothing was due.
    /// </summary>
    public bool? Meets(AdherenceRule rule)
    {
        ArgumentNullException.ThrowIfNull(rule);
        if (Due == 0)
            return null;
        var (low, high) = (rule.Holds(Done, Due), rule.Holds(Done + Unknown, Due));
        return low == high ? low : null;
    }

    /// <summary>
    /// Adherence to the whole programme, counted in practice occasions: an occurrence of one exercise and an occurrence of
    /// another that may be done on the same day are one occasion, as one session serves both. A session counts as done when
    /// it was done and not all its exercises were skipped.
    /// </summary>
    /// <param name="plan">All prescriptions of the programme, revisions included.</param>
    /// <param name="reports">Session reports in any order.</param>
    /// <param name="from">First day.</param>
    /// <param name="to">Last day, included.</param>
    public static Adherence OfProgramme(IReadOnlyList<PlannedExercise> plan, IReadOnlyList<SessionReport> reports, DateOnly from, DateOnly to)
    {
        ArgumentNullException.ThrowIfNull(reports);
        return Count(Match(plan, reports, from, to), plan, from, to);
    }

    /// <summary>The practice occasions of the programme, each with its report where there is one.</summary>
    internal static Matched Match(IReadOnlyList<PlannedExercise> plan, IReadOnlyList<SessionReport> reports, DateOnly from, DateOnly to)
    {
        var occasions = PracticeOccasions.Of(PlanInForce.Versions(plan).Select(versions => versions.Due(from, to)));
        var sessions = reports.Select(s => new Report(s.Day, s.DoneAt, s.Done && (s.Exercises.Count == 0 || s.Exercises.Any(e => e.Done)), s.Evidence, s, null));
        return Matched.Of(occasions, sessions, from, to);
    }

    /// <summary>
    /// Adherence to one prescribed exercise. A missed session, and a skipped exercise, count as not done; a session that
    /// says nothing of the exercise leaves it unknown.
    /// </summary>
    /// <param name="planned">Id of the prescription.</param>
    /// <param name="plan">All prescriptions of the programme, revisions included.</param>
    /// <param name="reports">Session reports in any order.</param>
    /// <param name="from">First day.</param>
    /// <param name="to">Last day, included.</param>
    public static Adherence OfExercise(string planned, IReadOnlyList<PlannedExercise> plan, IReadOnlyList<SessionReport> reports, DateOnly from, DateOnly to)
    {
        ArgumentNullException.ThrowIfNull(plan);
        var own = plan.Where(exercise => exercise.Id == planned).ToList();
        var due = PlanInForce.Versions(own).SelectMany(versions => versions.Due(from, to)).ToList();
        return Count(Matched.Of(due, ReportsOf(planned, reports), from, to), own, from, to);
    }

    /// <summary>What was reported of one exercise: done when any result of the session says so.</summary>
    internal static IEnumerable<Report> ReportsOf(string planned, IReadOnlyList<SessionReport> reports)
    {
        foreach (var session in reports)
        {
            var results = session.Exercises.Where(e => e.Planned == planned).OrderByDescending(e => e.Done).ThenBy(e => e.Evidence, StringComparer.Ordinal).ToList();
            if (!session.Done)
                yield return new(session.Day, session.DoneAt, false, session.Evidence, session, null);
            else if (results.Count > 0)
                yield return new(session.Day, session.DoneAt, results[0].Done, results[0].Evidence, session, results[0]);
        }
    }

    private double? Share(int part) => Due == 0 ? null : (double)part / Due;

    private static Adherence Count(Matched matched, IReadOnlyList<PlannedExercise> plan, DateOnly from, DateOnly to)
    {
        var done = matched.Occasions.Count(o => o.Report is { Done: true });
        var notDone = matched.Occasions.Count(o => o.Report is { Done: false });
        var evidence = plan.Select(exercise => exercise.Evidence).Order(StringComparer.Ordinal)
            .Concat(matched.Occasions.Select(o => o.Report).Concat(matched.Extra).OfType<Report>()
                .OrderBy(r => r.Day).ThenBy(r => r.At).ThenBy(r => r.Evidence, StringComparer.Ordinal).Select(r => r.Evidence));
        return new(from, to, matched.Occasions.Count, done, notDone, matched.Occasions.Count - done - notDone, matched.Extra.Count, [.. evidence.Distinct()]);
    }
}
