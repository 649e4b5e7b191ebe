namespace RehabRecords.Clinical;

/// <summary>A definition of "adherent". Clinics differ; each result says by which one.</summary>
/// <param name="Id">Id.</param>
/// <param name="Title">In words.</param>
/// <param name="Threshold">Share, 0 to 1.</param>
/// <param name="Strict">True when the share must be above, not at, the threshold.</param>
/// <param name="Source">Where the definition comes from.</param>
public sealed record AdherenceRule(string Id, string Title, decimal Threshold, bool Strict, Source Source)
{
    private const string File = "Rules/adherence.json";

    private static readonly Lazy<IReadOnlyList<AdherenceRule>> Shipped = new(() =>
    {
        var rules = DataFile.Read<RuleFile>(File).Definitions;
        for (var i = 0; i < rules.Count; i++)
            if (rules[i].Threshold is <= 0 or > 1)
                throw new CatalogueException(File, $"definitions[{i}].threshold", "must be above 0, at most 1");
        return rules;
    });

    /// <summary>All definitions that ship.</summary>
    public static IReadOnlyList<AdherenceRule> All => Shipped.Value;

    /// <summary>More than 70 % of what was prescribed, the published definition in stroke (Mahmood 2020).</summary>
    public static AdherenceRule MoreThan70 => All.First(rule => rule.Id == "more-than-70");

    /// <summary>
    /// A definition as a clinic sets it. One that ships keeps its own source; any other says that the clinic set it.
    /// </summary>
    /// <param name="percent">Per cent of what was prescribed, above 0, at most 100.</param>
    /// <param name="strict">True for "more than", false for "at least".</param>
    /// <exception cref="UnfitInputException">Per cent out of range, or "more than 100", which cannot be met.</exception>
    public static AdherenceRule Of(decimal percent, bool strict)
    {
        if (percent is <= 0 or > 100 || (strict && percent == 100))
            throw new UnfitInputException("percent", percent.ToString("0.###", System.Globalization.CultureInfo.InvariantCulture),
                "above 0, at most 100; below 100 when strict", "choose the share of what was prescribed that counts as adherent");
        return All.FirstOrDefault(rule => rule.Threshold == percent / 100 && rule.Strict == strict)
            ?? new("clinic", string.Create(System.Globalization.CultureInfo.InvariantCulture, $"{(strict ? "more than" : "at least")} {percent:0.###} % of what was prescribed"),
                percent / 100, strict, new Source("set by the clinic", Mark.CommonPractice));
    }

    /// <summary>Whether a count meets the rule. In decimals: 7 of 10 is exactly 70 %, and not more.</summary>
    /// <param name="done">Done, 0 or more.</param>
    /// <param name="due">Due, above 0.</param>
    public bool Holds(int done, int due) => Strict ? done > Threshold * due : done >= Threshold * due;

    private sealed record RuleFile(IReadOnlyList<AdherenceRule> Definitions);
}
