namespace RehabRecords.Clinical;

/// <summary>When a step back is suggested; the first rule that applies decides.</summary>
internal static class StepBackRules
{
    public static (string Rule, string Reason)? First(Picture picture, ProgressionRules rules)
    {
        if (picture.Latest?.Result is { } latest && Math.Max(latest.PainDuring ?? 0, latest.PainAfter ?? 0) is var pain && pain >= rules["pain-step-back"])
            return ("step-back-pain", $"pain of {pain} in the latest session reaches the limit of {rules["pain-step-back"]:0.##}");
        if (PainLasting(picture, rules) is { } lasting)
            return ("step-back-pain-lasting", lasting);
        var tried = picture.LastTried(rules);
        var row = (int)rules["failures-in-a-row"];
        if (tried.Count == row && tried.All(attempt => attempt.Outcome == Outcome.Failure))
            return ("step-back-failures",
                $"{row} sessions in a row below {rules["failure-share"]:P0} of what was prescribed, below the quality criterion, or skipped as too hard");
        return null;
    }

    // A rise within a session that is still there before the next one, a day or more later.
    private static string? PainLasting(Picture picture, ProgressionRules rules)
    {
        var done = picture.LastDone;
        if (done.Count < 2)
            return null;
        var (now, then) = (done[0], done[1]);
        var rise = rules["pain-rise"];
        return now.Report.At - then.Report.At >= TimeSpan.FromHours(24)
            && then.Result!.PainBefore is { } before && then.Result.PainAfter is { } after && now.Result!.PainBefore is { } still
            && after - before >= rise && still - before >= rise
            ? $"pain rose from {before} to {after} and was still {still} before the next session, a day or more later"
            : null;
    }
}
