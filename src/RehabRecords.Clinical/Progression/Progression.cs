namespace RehabRecords.Clinical;

/// <summary>
/// The progression rules. In this order: an open red flag stops; failure or pain steps back; a lock, missing data or a
/// mixed picture holds; and only when all conditions are known and met is a step ahead suggested. Missing data can only hold.
/// </summary>
public static class Progression
{
    /// <summary>A suggestion for each exercise of the plan that is in force on the day, in order of the plan.</summary>
    /// <param name="input">What to look at.</param>
    /// <param name="rules">Rules; null takes those that ship.</param>
    public static IReadOnlyList<ProgressionSuggestion> Suggest(ProgressionInput input, ProgressionRules? rules = null)
    {
        ArgumentNullException.ThrowIfNull(input);
        var set = rules ?? ProgressionRules.Default;
        return [.. PlanInForce.Versions(input.Plan)
            .Select(versions => versions.On(input.AsOf))
            .OfType<PlannedExercise>()
            .Select(exercise => For(exercise, input, set))];
    }

    private static ProgressionSuggestion For(PlannedExercise exercise, ProgressionInput input, ProgressionRules rules)
    {
        var picture = Picture.Of(exercise, input, rules);
        var freezing = input.OpenFlags.Where(flag => SafetyScreen.Find(flag.Code) is not { Freezes: false })
            .OrderBy(flag => flag.Since).ThenBy(flag => flag.Code, StringComparer.Ordinal).ToList();
        var (suggestion, rule, reason) =
            freezing.Count > 0 ? (Suggestion.StopAndReview, "stop-open-flag", FlagReason(freezing))
            : StepBackRules.First(picture, rules) is { } back ? (Suggestion.StepBack, back.Rule, back.Reason)
            : HoldRules.First(picture, rules) is { } hold ? (Suggestion.Hold, hold.Rule, hold.Reason)
            : (Suggestion.Advance, "advance-all-met",
                $"the last {picture.Last.Count} reports are successes, pain and exertion are within the limits, and adherence is at least {rules["adherence-least"]:P0}");
        var direction = suggestion switch
        {
            Suggestion.Advance => GradingDirection.Harder,
            Suggestion.StepBack => GradingDirection.Easier,
            _ => (GradingDirection?)null,
        };
        var options = exercise.Gradings.Where(grading => grading.Direction == direction).ToList();
        if (direction is { } way && options.Count == 0)
            reason += $"; no {(way == GradingDirection.Harder ? "harder" : "easier")} grading is written for this exercise";
        return new(exercise.Id, exercise.Exercise, exercise.Title, suggestion, rule, rules.Version, reason, options, picture.Inputs(rules),
            RuleSource(rule, picture, rules), [.. freezing.Select(flag => flag.Evidence).Concat(picture.Evidence(rule, rules)).Distinct()])
        {
            ClinicChanges = rules.ClinicChanges,
        };
    }

    private static string FlagReason(List<OpenFlag> flags) =>
        $"open red flag: {string.Join(", ", flags.Select(flag => SafetyScreen.Find(flag.Code)?.Title ?? flag.Code))}; progression is frozen until a clinician clears it with a reason";

    // What stops is safety, not a limit a clinic sets; the rest stands on the clinic's limits.
    private static Source RuleSource(string rule, Picture picture, ProgressionRules rules) => rule == "stop-open-flag"
        ? new Source("any red flag stops until a clinician reviews it; common practice", Mark.CommonPractice)
        : rules.Limit(rule switch
        {
            "step-back-pain" => "pain-step-back",
            "step-back-pain-lasting" or "hold-pain-rise" => "pain-rise",
            "step-back-failures" => "failures-in-a-row",
            "hold-mixed" => "success-share",
            "hold-pain" => "pain-during-most",
            "hold-exertion" => HoldRules.ExertionLimit(picture.Latest!.Result!.Exertion!.Scale),
            "hold-fatigue" => "fatigue-rise",
            "hold-adherence" => "adherence-least",
            "hold-gap" => "longest-gap-days",
            _ => Picture.NeededLimit(picture.Exercise),
        }).Source;
}
