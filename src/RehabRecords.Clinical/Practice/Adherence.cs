namespace RehabRecords.Clinical;

/// <summary>
/// How much of what was due was done. A due occasion without a report is unknown, never "not done":
/// the truth lies between <see cref="Lower"/> and <see cref="Upper"/>.
/// </summary>
/// <param name="From">First day counted.</param>
/// <param name="To">Last day counted.</param>
/// <param name="Due">Occasions due.</param>
/// <param name="Done">Reported as done.</param>
/// <param name="NotDone">Reported as missed or skipped.</param>
/// <param name="Unknown">Due without a report.</param>
/// <param name="Extra">Done beyond what was due; never offsets another day.</param>
/// <param name="Evidence">Addresses of the prescriptions and reports that were counted.</param>
public sealed record Adherence(DateOnly From, DateOnly To, int Due, int Done, int NotDone, int Unknown, int Extra, IReadOnlyList<string> Evidence)
{
    /// <summary>Lower bound 0 to 1: every unknown occasion was missed. Null when nothing was due.</summary>
    public double? Lower => Due == 0 ? null : (double)Done / Due;

    /// <summary>Upper bound 0 to 1: every unknown occasion was done. Null when nothing was due.</summary>
    public double? Upper => Due == 0 ? null : (double)(Done + Unknown) / Due;

    /// <summary>All that was done, extra included, over what was due; may exceed 1. Null when nothing was due.</summary>
    public double? Uncapped => Due == 0 ? null : (double)(Done + Extra) / Due;

    /// <summary>Share of due occasions that have a report, 0 to 1. Null when nothing was due.</summary>
    public double? Completeness => Due == 0 ? null : (double)(Done + NotDone) / Due;

    /// <summary>In plain words, with the doubt: "7 of 9 done, 1 missed, 1 without a report: 78 to 89 %".</summary>
    public string Text => throw new NotImplementedException();

    /// <summary>
    /// Whether the person is adherent by the rule: yes or no only when both bounds agree, otherwise null (cannot be said).
    /// </summary>
    public bool? Meets(AdherenceRule rule) => throw new NotImplementedException();

    /// <summary>Adherence to the whole programme, counted in practice occasions (sessions).</summary>
    /// <param name="plan">All prescriptions of the programme, revisions included.</param>
    /// <param name="reports">Session reports in any order.</param>
    /// <param name="from">First day.</param>
    /// <param name="to">Last day, included.</param>
    public static Adherence OfProgramme(IReadOnlyList<PlannedExercise> plan, IReadOnlyList<SessionReport> reports, DateOnly from, DateOnly to) =>
        throw new NotImplementedException();

    /// <summary>Adherence to one prescribed exercise.</summary>
    public static Adherence OfExercise(string planned, IReadOnlyList<PlannedExercise> plan, IReadOnlyList<SessionReport> reports, DateOnly from, DateOnly to) =>
        throw new NotImplementedException();
}

/// <summary>A definition of "adherent".</summary>
/// <param name="Threshold">Share, 0 to 1.</param>
/// <param name="Strict">True when the share must be above, not at, the threshold.</param>
/// <param name="Source">Where the definition comes from.</param>
public sealed record AdherenceRule(double Threshold, bool Strict, Source Source)
{
    /// <summary>More than 70 % of what was prescribed: the published questionnaire study in stroke.</summary>
    public static AdherenceRule MoreThan70 { get; } = new(0.70, true,
        new Source("Mahmood 2020 Physiother Res Int (SS-MAHE)", Mark.Published));
}
