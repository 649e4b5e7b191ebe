namespace RehabRecords.Clinical;

/// <summary>A goal with its weight and the levels attained.</summary>
/// <param name="Id">Id of the goal.</param>
/// <param name="Importance">0 to 3; null takes 1.</param>
/// <param name="Difficulty">0 to 3; null takes 1.</param>
/// <param name="Baseline">Level at the start, -2 to +2; null when not recorded.</param>
/// <param name="Outcome">Latest level, -2 to +2; null when not recorded.</param>
/// <param name="Evidence">Addresses of the goal and of both levels.</param>
public sealed record AttainedGoal(string Id, int? Importance, int? Difficulty, int? Baseline, int? Outcome, IReadOnlyList<string> Evidence)
{
    /// <summary>Name for the text; null shows the id.</summary>
    public string? Title { get; init; }

    /// <summary>Weight: importance × difficulty (from memory: Turner-Stokes 2009).</summary>
    public int Weight => (Importance ?? 1) * (Difficulty ?? 1);
}

/// <summary>Goal attainment of a set of goals: the T-scores at the start and now over the same goals.</summary>
/// <param name="Baseline">T-score at the start; null when it cannot be computed.</param>
/// <param name="Outcome">T-score now.</param>
/// <param name="Change">Outcome minus baseline.</param>
/// <param name="Goals">Goals that entered both.</param>
/// <param name="LeftOut">Goals left out, with the reason.</param>
/// <param name="Text">In plain words, with the levels beside the score.</param>
/// <param name="Evidence">Addresses of what was used.</param>
public sealed record GoalAttainment(
    double? Baseline, double? Outcome, double? Change, IReadOnlyList<AttainedGoal> Goals,
    IReadOnlyList<string> LeftOut, string Text, IReadOnlyList<string> Evidence)
{
    /// <summary>Correlation between goals that the formula takes.</summary>
    public const double Rho = 0.3;

    /// <summary>
    /// T = 50 + 10·Σwx / √((1 − ρ)·Σw² + ρ·(Σw)²) with ρ = 0.3 (Kiresuk &amp; Sherman 1968; the corrected form of
    /// Turner-Stokes 2009 Clin Rehabil 23:362-370, whose first printing had errors). 50 is "all as expected"; scaling all
    /// weights leaves it unchanged; weight 0 drops a goal.
    /// </summary>
    /// <param name="levels">Levels, -2 to +2.</param>
    /// <param name="weights">Weights, 0 or more, as many.</param>
    /// <returns>The score; null when there are no goals or all weights are 0.</returns>
    /// <exception cref="UnfitInputException">A level outside -2 to +2, a weight below 0, or lengths that differ.</exception>
    public static double? TScore(IReadOnlyList<int> levels, IReadOnlyList<int> weights)
    {
        ArgumentNullException.ThrowIfNull(levels);
        ArgumentNullException.ThrowIfNull(weights);
        if (levels.Count != weights.Count)
            throw new UnfitInputException("weights", $"{weights.Count} weights", $"{levels.Count}, one for each goal", "give a weight for each goal");
        foreach (var level in levels)
            CheckRange("level", level, -2, 2);
        if (weights.FirstOrDefault(weight => weight < 0) is var negative and < 0)
            throw new UnfitInputException("weight", $"{negative}", "0 or more", "weight is importance × difficulty");
        double sum = 0, squares = 0, total = 0;
        for (var i = 0; i < levels.Count; i++)
        {
            double weight = weights[i];
            sum += weight * levels[i];
            squares += weight * weight;
            total += weight;
        }
        return total == 0 ? null : 50 + 10 * sum / Math.Sqrt((1 - Rho) * squares + Rho * total * total);
    }

    /// <summary>Baseline and outcome over the goals that have both, so that the change compares like with like.</summary>
    /// <exception cref="UnfitInputException">A level outside -2 to +2, importance or difficulty outside 0 to 3.</exception>
    public static GoalAttainment Of(IReadOnlyList<AttainedGoal> goals)
    {
        ArgumentNullException.ThrowIfNull(goals);
        foreach (var goal in goals)
        {
            CheckRange("importance", goal.Importance, 0, 3);
            CheckRange("difficulty", goal.Difficulty, 0, 3);
            CheckRange("baseline", goal.Baseline, -2, 2);
            CheckRange("outcome", goal.Outcome, -2, 2);
        }
        var leftOut = goals.Select(goal => (goal, Reason: WhyNot(goal))).Where(g => g.Reason is not null).Select(g => $"{Name(g.goal)}: {g.Reason}").ToList();
        var used = goals.Where(goal => WhyNot(goal) is null).ToList();
        var weights = used.Select(goal => goal.Weight).ToList();
        var baseline = TScore([.. used.Select(goal => goal.Baseline!.Value)], weights);
        var outcome = TScore([.. used.Select(goal => goal.Outcome!.Value)], weights);
        var text = used.Count == 0
            ? "No goal has both a level at the start and one now."
            : $"Goal attainment T-score {baseline:F1} at the start, {outcome:F1} now (50 is all goals as expected). "
                + $"Levels: {string.Join("; ", used.Select(goal => $"{Name(goal)} {Level(goal.Baseline)} to {Level(goal.Outcome)}"))}.";
        if (leftOut.Count > 0)
            text += $" Left out: {string.Join("; ", leftOut)}.";
        return new(baseline, outcome, outcome - baseline, used, leftOut, text, [.. used.SelectMany(goal => goal.Evidence).Distinct()]);
    }

    private static string? WhyNot(AttainedGoal goal) =>
        goal.Baseline is null ? "no level at the start" : goal.Outcome is null ? "no level now" : goal.Weight == 0 ? "weight 0" : null;

    private static string Name(AttainedGoal goal) => goal.Title ?? goal.Id;

    private static string Level(int? level) => level is > 0 ? $"+{level}" : $"{level}";

    private static void CheckRange(string element, int? value, int low, int high)
    {
        if (value < low || value > high)
            throw new UnfitInputException(element, $"{value}", $"{low} to {high}", "use one of these whole numbers");
    }
}
