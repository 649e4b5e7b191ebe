namespace RehabRecords.Clinical;

/// <summary>A goal with its weight and the levels attained.</summary>
/// <param name="Id">Id of the goal.</param>
/// <param name="Importance">0 to 3; null takes 1.</param>
/// <param name="Difficulty">0 to 3; null takes 1.</param>
/// <param name="Baseline">Level at the start, -2 to +2; null when not recorded.</param>
/// <param name="Outcome">Latest level, -2 to +2; null when not recorded.</param>
/// <param name="Evidence">Addresses of the goal and of both levels.</param>
public sealed record AttainedGoal(string Id, int? Importance, int? Difficulty, int? Baseline, int? Outcome, IReadOnlyList<string> Evidence);

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
    /// <summary>The T-score of levels with weights; null when there are no goals or all weights are 0.</summary>
    public static double? TScore(IReadOnlyList<int> levels, IReadOnlyList<int> weights) => throw new NotImplementedException();

    /// <summary>Baseline and outcome over the goals that have both.</summary>
    public static GoalAttainment Of(IReadOnlyList<AttainedGoal> goals) => throw new NotImplementedException();
}
