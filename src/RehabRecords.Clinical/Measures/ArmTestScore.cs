namespace RehabRecords.Clinical;

/// <summary>A subscale of the Action Research Arm Test.</summary>
public enum ArmTestSubscale
{
    /// <summary>Grasp, 6 items, 0 to 18.</summary>
    Grasp,

    /// <summary>Grip, 4 items, 0 to 12.</summary>
    Grip,

    /// <summary>Pinch, 6 items, 0 to 18.</summary>
    Pinch,

    /// <summary>Gross movement, 3 items, 0 to 9.</summary>
    Gross,
}

/// <summary>A scored subscale.</summary>
/// <param name="Subscale">Subscale.</param>
/// <param name="Score">Sum after the decision rules.</param>
/// <param name="Items">Item scores, credited ones filled in; in the order of the form: 1 hardest, 2 easiest.</param>
/// <param name="ByRule">Whether the decision rules decided, so that items were credited without being tested.</param>
/// <param name="Flag">What does not fit together; null when all does.</param>
public sealed record ArmTestResult(ArmTestSubscale Subscale, int Score, IReadOnlyList<int> Items, bool ByRule, string? Flag);

/// <summary>
/// Scores of the Action Research Arm Test. Decision rules of Lyle, as in NINDS common data element 24945: item 1 is the
/// hardest, item 2 the easiest of each subscale. Item scores only; wording is not reproduced.
/// </summary>
public static class ArmTestScore
{
    /// <summary>Number of items of a subscale.</summary>
    public static int ItemsOf(ArmTestSubscale subscale) => subscale switch
    {
        ArmTestSubscale.Grasp or ArmTestSubscale.Pinch => 6,
        ArmTestSubscale.Grip => 4,
        _ => 3,
    };

    /// <summary>
    /// Scores a subscale. Item 1 at 3 credits 3 to every item; item 1 below 3 and item 2 at 0 credits 0 to the rest;
    /// otherwise all items are needed and summed. Summing all items without shortcuts gives the same when all are there.
    /// </summary>
    /// <param name="subscale">Subscale.</param>
    /// <param name="items">Item scores 0 to 3 in the order of the form; null for an item not tested.</param>
    /// <exception cref="UnfitInputException">Too many items, a score outside 0 to 3, or an item missing that the rules do not credit.</exception>
    public static ArmTestResult Score(ArmTestSubscale subscale, IReadOnlyList<int?> items)
    {
        ArgumentNullException.ThrowIfNull(items);
        var count = ItemsOf(subscale);
        if (items.Count > count)
            throw new UnfitInputException("items", $"{items.Count}", $"at most {count} for {subscale.Code()}", "check the subscale");
        for (var i = 0; i < items.Count; i++)
            if (items[i] is < 0 or > 3)
                throw new UnfitInputException($"items[{i}]", $"{items[i]}", "0 to 3", "check the score");
        int? At(int i) => i < items.Count ? items[i] : null;
        if (At(0) is not { } hardest)
            throw new UnfitInputException("items[0]", null, "0 to 3", "test item 1 first");
        if (Enumerable.Range(0, count).All(i => At(i) is not null))
            return new(subscale, items.Sum()!.Value, [.. items.Select(i => i!.Value)], false, null);
        if (hardest == 3)
            return new(subscale, 3 * count, [.. Enumerable.Repeat(3, count)], true, null);
        if (At(1) == 0)
            return new(subscale, hardest, [hardest, .. Enumerable.Repeat(0, count - 1)], true,
                hardest > 0 ? "item 1, the hardest, was partly done but item 2, the easiest, not at all: check both" : null);
        var missing = Enumerable.Range(0, count).First(i => At(i) is null);
        throw new UnfitInputException($"items[{missing}]", null, "0 to 3", "test this item: the decision rules do not credit it");
    }

    /// <summary>Total of the four subscales, 0 to 57.</summary>
    /// <exception cref="UnfitInputException">A subscale out of its range (grasp and pinch 0 to 18, grip 0 to 12, gross 0 to 9).</exception>
    public static int Total(int grasp, int grip, int pinch, int gross)
    {
        foreach (var (subscale, score) in new[] { (ArmTestSubscale.Grasp, grasp), (ArmTestSubscale.Grip, grip), (ArmTestSubscale.Pinch, pinch), (ArmTestSubscale.Gross, gross) })
            if (score < 0 || score > 3 * ItemsOf(subscale))
                throw new UnfitInputException(subscale.Code(), $"{score}", $"0 to {3 * ItemsOf(subscale)}", "check the subscale's sum");
        return grasp + grip + pinch + gross;
    }
}
