namespace RehabRecords.Clinical;

/// <summary>What a clinician decided on a suggestion. The software never applies one by itself.</summary>
/// <param name="Suggested">The suggestion.</param>
/// <param name="Chosen">What was chosen.</param>
/// <param name="Gradings">Gradings to apply; at most one, so that a step is one step in one dimension.</param>
/// <param name="By">Who decided, with role.</param>
/// <param name="At">When.</param>
/// <param name="Reason">Reason; needed when something else than the suggestion was chosen.</param>
public sealed record ProgressionDecision(
    ProgressionSuggestion Suggested, Suggestion Chosen, IReadOnlyList<Grading> Gradings, string By, DateTimeOffset At, string? Reason)
{
    /// <summary>Whether the suggestion was overridden.</summary>
    public bool Overrides => Chosen != Suggested.Suggestion;

    /// <summary>
    /// What stands against the decision. An open red flag freezes progression: it must be cleared first, and an override
    /// does not go around it.
    /// </summary>
    public IReadOnlyList<InputProblem> Problems()
    {
        var problems = new List<InputProblem>();
        if (string.IsNullOrWhiteSpace(By))
            problems.Add(new("by", By, "a name and role", "say which clinician decided"));
        if (Overrides && string.IsNullOrWhiteSpace(Reason))
            problems.Add(new("reason", Reason, "a reason in words", "say why the suggestion was not followed"));
        if (Suggested.Suggestion == Suggestion.StopAndReview && Chosen == Suggestion.Advance)
            problems.Add(new("chosen", Chosen.Code(), "hold, step-back or stop-and-review while a red flag is open", "clear the flag first, with a reason"));
        if (Gradings.Count > 1)
            problems.Add(new("gradings", $"{Gradings.Count} gradings", "at most one: one step in one dimension", "choose one"));
        GradingDirection? wanted = Chosen switch
        {
            Suggestion.Advance => GradingDirection.Harder,
            Suggestion.StepBack => GradingDirection.Easier,
            _ => null,
        };
        if (Gradings.Any(grading => grading.Direction != wanted))
            problems.Add(new("gradings", string.Join(", ", Gradings.Select(g => g.Direction.Code())), wanted is { } way ? way.Code() : "none", "choose a grading that fits the decision"));
        return problems;
    }
}
