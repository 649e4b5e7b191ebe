namespace RehabRecords.Clinical;

/// <summary>Scores that are computed from what was observed. Each refuses what it cannot honestly answer for.</summary>
public static class DerivedScores
{
    /// <summary>Walking speed, m/s, over the timed distance.</summary>
    /// <param name="metres">Timed distance (6 or 10 m usually), above 0.</param>
    /// <param name="seconds">Time, above 0.</param>
    /// <exception cref="UnfitInputException">Not above 0. Unable to walk is a status, not a speed of 0.</exception>
    public static decimal WalkingSpeed(decimal metres, decimal seconds)
    {
        if (metres <= 0)
            throw new UnfitInputException("metres", $"{metres}", "above 0", "give the distance that was timed");
        return seconds > 0 ? metres / seconds : throw new UnfitInputException("seconds", $"{seconds}", "above 0", "record unable as a status");
    }

    /// <summary>
    /// Median time of the Wolf tasks. Tasks not done within the limit count as slower than any time, which the median can
    /// bear: it is null, to be recorded as stopped-at-limit, only when it would itself fall on such a task.
    /// (Median of 15 as the summary: from memory.)
    /// </summary>
    /// <param name="seconds">Times; null for a task not done within the limit.</param>
    /// <exception cref="UnfitInputException">No tasks, or a time not above 0.</exception>
    public static decimal? WolfMedian(IReadOnlyList<decimal?> seconds)
    {
        ArgumentNullException.ThrowIfNull(seconds);
        if (seconds.Count == 0 || seconds.Any(time => time <= 0))
            throw new UnfitInputException("seconds", seconds.Count == 0 ? null : "0 or less", "one or more times above 0, null where not done", "check the times");
        var sorted = seconds.OrderBy(time => time ?? decimal.MaxValue).ToList();
        var (low, high) = (sorted[(sorted.Count - 1) / 2], sorted[sorted.Count / 2]);
        return (low + high) / 2;
    }

    /// <summary>Mean of answered items; items that do not apply leave the denominator (from memory for the Motor Activity Log).</summary>
    /// <param name="answers">Answers; null where not applicable.</param>
    /// <param name="low">Lowest answer.</param>
    /// <param name="high">Highest answer.</param>
    /// <returns>Mean and number answered; null when none was.</returns>
    /// <exception cref="UnfitInputException">An answer out of range.</exception>
    public static (decimal Mean, int Answered)? MeanOfAnswered(IReadOnlyList<decimal?> answers, decimal low, decimal high)
    {
        ArgumentNullException.ThrowIfNull(answers);
        var given = answers.OfType<decimal>().ToList();
        if (given.FirstOrDefault(a => a < low || a > high, low) is var wrong && (wrong < low || wrong > high))
            throw new UnfitInputException("answers", $"{wrong}", $"{low} to {high}", "check the answers");
        return given.Count == 0 ? null : (given.Average(), given.Count);
    }

    /// <summary>Stroke Impact Scale hand domain: (mean − 1) / 4 × 100 of five answers of 1 to 5 (transformation from memory).</summary>
    /// <exception cref="UnfitInputException">An answer out of range, or not five of them.</exception>
    public static decimal StrokeImpactHand(IReadOnlyList<int> answers)
    {
        ArgumentNullException.ThrowIfNull(answers);
        if (answers.Count != 5 || answers.Any(a => a is < 1 or > 5))
            throw new UnfitInputException("answers", string.Join(", ", answers), "five answers of 1 to 5", "check the answers");
        return (decimal)(answers.Average() - 1) / 4 * 100;
    }

    /// <summary>A Barthel total of the 0 to 20 version on the 0 to 100 version: times five (from memory). The versions are never mixed in one series.</summary>
    /// <exception cref="UnfitInputException">Outside 0 to 20.</exception>
    public static int Barthel100Of20(int total) => total is >= 0 and <= 20
        ? total * 5
        : throw new UnfitInputException("barthel-20", $"{total}", "0 to 20", "check which version was used");

    /// <summary>Item maxima of the 0 to 20 Barthel version, in the order bowels, bladder, grooming, toilet, feeding, transfer, mobility, dressing, stairs, bathing (from memory).</summary>
    public static IReadOnlyList<int> Barthel20Maxima { get; } = [2, 2, 1, 2, 2, 3, 3, 2, 2, 1];
}
