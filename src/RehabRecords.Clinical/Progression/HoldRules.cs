namespace RehabRecords.Clinical;

/// <summary>What keeps the level as it is; the first rule that applies decides. When none does, all conditions of a step ahead are known and met.</summary>
internal static class HoldRules
{
    public static (string Rule, string Reason)? First(Picture picture, ProgressionRules rules)
    {
        if (picture.Exercise.Locked)
            return ("hold-locked", "a clinician has locked the level");
        if (picture.Last.Contains(null))
            return ("hold-missing-report", $"of the last {picture.Needed} occasions one or more have no report");
        if (picture.Last.Count < picture.Needed)
            return ("hold-few-reports", $"{picture.Last.Count} of {picture.Needed} reports needed at this level so far");
        var last = picture.Last.Select(attempt => attempt!).ToList();
        if (last.Exists(attempt => attempt.Outcome == Outcome.NotKnown))
            return ("hold-incomplete-report", "one of the last reports gives no amount or no quality");
        if (last.Exists(attempt => attempt.Outcome != Outcome.Success))
            return ("hold-mixed", "not all of the last reports are successes");
        return Pain(last, picture.PainLimit, rules) ?? Exertion(last, rules) ?? Fatigue(picture, rules) ?? Practice(picture, rules);
    }

    private static (string, string)? Pain(List<Attempt> last, int limit, ProgressionRules rules)
    {
        var (rise, most) = (rules["pain-rise"], Math.Min(rules["pain-during-most"], limit));
        foreach (var result in last.Select(attempt => attempt.Result!))
        {
            if (result.PainDuring is not { } during)
                return ("hold-incomplete-report", "one of the last reports gives no pain during the exercise");
            if (during > most)
                return ("hold-pain", $"pain of {during} during the exercise is above {most:0.##}");
            // Below the rise itself, no pain before could make one.
            if (during >= rise && result.PainBefore is null)
                return ("hold-incomplete-report", "one of the last reports gives no pain before the exercise");
            if (during - result.PainBefore >= rise)
                return ("hold-pain-rise", $"pain rose by {during - result.PainBefore} during the exercise");
        }
        return null;
    }

    private static (string, string)? Exertion(List<Attempt> last, ProgressionRules rules)
    {
        var ratings = last.Select(attempt => attempt.Result!.Exertion).ToList();
        if (ratings.Contains(null))
            return ("hold-incomplete-report", "one of the last reports gives no exertion");
        if (ratings.Select(rating => rating!.Scale).Distinct().Count() > 1)
            return ("hold-mixed-scales", "the last reports use different exertion scales, which are not compared");
        var most = rules[ExertionLimit(ratings[0]!.Scale)];
        return ratings.Find(rating => rating!.Value > most) is { } hard
            ? ("hold-exertion", $"exertion of {hard.Value:0.#} is above {most:0.#}")
            : null;
    }

    public static string ExertionLimit(ExertionScale scale) => scale == ExertionScale.ZeroToTen ? "exertion-most-0-10" : "exertion-most-6-20";

    private static (string, string)? Fatigue(Picture picture, ProgressionRules rules)
    {
        var reported = picture.FatigueReported.Select(attempt => attempt.Result!.Fatigue!.Value).ToList();
        return reported.Count == 2 && reported[0] - reported[1] >= rules["fatigue-rise"]
            ? ("hold-fatigue", $"new fatigue: {reported[0]}, and {reported[1]} the time before")
            : null;
    }

    private static (string, string)? Practice(Picture picture, ProgressionRules rules)
    {
        var adherence = picture.Adherence;
        if (adherence.Due > 0 && adherence.Done < rules["adherence-least"] * adherence.Due)
            return ("hold-adherence", $"known adherence is {adherence.Lower:P0} of what was due in {rules["adherence-days"]:0} days, below {rules["adherence-least"]:P0}");
        return picture.LongestGapDays > rules["longest-gap-days"]
            ? ("hold-gap", $"{picture.LongestGapDays} days in a row without a report")
            : null;
    }
}
