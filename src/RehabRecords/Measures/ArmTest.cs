using System.ComponentModel;
using System.ComponentModel.DataAnnotations;
using RehabRecords.Clinical;

namespace RehabRecords.Measures;

/// <summary>The four subscales of the Action Research Arm Test as totals.</summary>
public sealed record ArmTestTotals
{
    [Range(0, 18), Description("Grasp, 0 to 18.")]
    public int? Grasp { get; init; }

    [Range(0, 12), Description("Grip, 0 to 12.")]
    public int? Grip { get; init; }

    [Range(0, 18), Description("Pinch, 0 to 18.")]
    public int? Pinch { get; init; }

    [Range(0, 9), Description("Gross movement, 0 to 9.")]
    public int? Gross { get; init; }
}

/// <summary>Item scores of the Action Research Arm Test, 0 to 3 each, in the order of the form: item 1 is the hardest, item 2 the easiest.</summary>
public sealed record ArmTestItems
{
    [Description("Up to 6 scores: item 1, then item 2, then the rest where the decision rules do not credit them.")]
    public IReadOnlyList<int>? Grasp { get; init; }

    [Description("Up to 4 scores.")]
    public IReadOnlyList<int>? Grip { get; init; }

    [Description("Up to 6 scores.")]
    public IReadOnlyList<int>? Pinch { get; init; }

    [Description("Up to 3 scores.")]
    public IReadOnlyList<int>? Gross { get; init; }
}

/// <summary>One subscale as it will be recorded: its total, the items that were tested, and what does not fit together.</summary>
internal sealed record ArmTestPart(string Measure, int Score, IReadOnlyList<int> Items, string? Doubt);

/// <summary>The total of the Action Research Arm Test out of its subscales. Scores only: no wording of the form is held.</summary>
internal static class ArmTest
{
    public const string Total = "arat";
    private const string AllItems = "all-items";

    /// <summary>The four subscales of a request that gives them, with every problem found; empty for any other request.</summary>
    public static IReadOnlyList<ArmTestPart> PartsOf(MeasureRequest request, Action<string, string> bad)
    {
        if (request.Subscales is { } totals)
            return Parts("subscales", subscale => Of(totals, subscale), (field, subscale, score) => Checked(field, subscale, score!.Value), bad);
        return request.Items is { } items
            ? Parts("items", subscale => Of(items, subscale), (field, subscale, scores) => Scored(field, subscale, scores!, request.Variant), bad)
            : [];
    }

    private static List<ArmTestPart> Parts<T>(string group, Func<ArmTestSubscale, T> of, Func<string, ArmTestSubscale, T, ArmTestPart> score, Action<string, string> bad)
    {
        var parts = new List<ArmTestPart>();
        foreach (var subscale in Enum.GetValues<ArmTestSubscale>())
        {
            var field = $"{group}.{subscale.Code()}";
            if (of(subscale) is not { } given)
            {
                bad(field, $"{field} is missing; the total needs all four subscales. Give it, or record the subscales you have as arat-{subscale.Code()} and the like.");
                continue;
            }

            try
            {
                parts.Add(score(field, subscale, given));
            }
            catch (UnfitInputException unfit)
            {
                var element = unfit.Problem.Element.StartsWith("items[", StringComparison.Ordinal) ? field + unfit.Problem.Element["items".Length..] : field;
                bad(element, (unfit.Problem with { Element = element }).Message);
            }
        }

        return parts;
    }

    private static ArmTestPart Checked(string field, ArmTestSubscale subscale, int score)
    {
        var most = 3 * ArmTestScore.ItemsOf(subscale);
        return score >= 0 && score <= most ? new ArmTestPart(MeasureOf(subscale), score, [], null)
            : throw new UnfitInputException(field, $"{score}", $"0 to {most}", "check the subscale's sum");
    }

    private static ArmTestPart Scored(string field, ArmTestSubscale subscale, IReadOnlyList<int> items, string? variant)
    {
        var result = ArmTestScore.Score(subscale, [.. items.Select(score => (int?)score)]);
        if (result.ByRule && variant == AllItems)
            throw new UnfitInputException(field, $"{items.Count} items", $"all {ArmTestScore.ItemsOf(subscale)} with the variant {AllItems}",
                "test every item, or use the variant decision-rules");
        return new ArmTestPart(MeasureOf(subscale), result.Score, items, result.Flag);
    }

    private static string MeasureOf(ArmTestSubscale subscale) => $"{Total}-{subscale.Code()}";

    private static int? Of(ArmTestTotals totals, ArmTestSubscale subscale) => subscale switch
    {
        ArmTestSubscale.Grasp => totals.Grasp,
        ArmTestSubscale.Grip => totals.Grip,
        ArmTestSubscale.Pinch => totals.Pinch,
        _ => totals.Gross,
    };

    private static IReadOnlyList<int>? Of(ArmTestItems items, ArmTestSubscale subscale) => subscale switch
    {
        ArmTestSubscale.Grasp => items.Grasp,
        ArmTestSubscale.Grip => items.Grip,
        ArmTestSubscale.Pinch => items.Pinch,
        _ => items.Gross,
    };
}
