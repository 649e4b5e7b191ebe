using System.Collections.Frozen;

namespace RehabRecords.Clinical;

/// <summary>One limit of the progression rules.</summary>
/// <param name="Id">Id.</param>
/// <param name="Value">Value in force.</param>
/// <param name="Unit">Unit.</param>
/// <param name="From">Smallest value a clinic may set.</param>
/// <param name="To">Largest value a clinic may set.</param>
/// <param name="Text">What it does.</param>
/// <param name="Source">Source; "common practice" where there is none.</param>
public sealed record ProgressionLimit(string Id, decimal Value, string Unit, decimal From, decimal To, string Text, Source Source);

/// <summary>
/// The limits of the progression rules, with a version that every suggestion names. A clinic may set each within its
/// range; what ships is common practice, without a source, and says so.
/// </summary>
public sealed class ProgressionRules
{
    private const string File = "Rules/progression.json";

    private static readonly string[] Needed =
    [
        "reports-needed", "reports-needed-low-risk", "success-share", "failure-share", "failures-in-a-row", "pain-during-most", "pain-step-back",
        "pain-rise", "exertion-most-0-10", "exertion-most-6-20", "fatigue-rise", "adherence-least", "adherence-days", "longest-gap-days", "over-practice-share",
    ];

    private static readonly Lazy<ProgressionRules> Shipped = new(() =>
    {
        var file = DataFile.Read<RuleFile>(File);
        return new(file.Version, file.Limits);
    });

    private readonly FrozenDictionary<string, ProgressionLimit> byId;

    private ProgressionRules(string version, IReadOnlyList<ProgressionLimit> limits, string? clinicChanges = null)
    {
        foreach (var limit in limits)
            if (limit.Value < limit.From || limit.Value > limit.To)
                throw new CatalogueException(File, limit.Id, $"is {limit.Value}; allowed {limit.From} to {limit.To}");
        byId = limits.ToFrozenDictionary(limit => limit.Id);
        if (Needed.FirstOrDefault(id => !byId.ContainsKey(id)) is { } missing)
            throw new CatalogueException(File, "limits", $"{missing} is missing");
        (Version, Limits, ClinicChanges) = (version, limits, clinicChanges);
    }

    /// <summary>The rules that ship.</summary>
    public static ProgressionRules Default => Shipped.Value;

    /// <summary>Version, named in every suggestion.</summary>
    public string Version { get; }

    /// <summary>What a clinic set otherwise ("pain-during-most 2 instead of 3"); null for the rules as they ship.</summary>
    public string? ClinicChanges { get; }

    /// <summary>All limits, in order.</summary>
    public IReadOnlyList<ProgressionLimit> Limits { get; }

    /// <summary>The value of a limit.</summary>
    public decimal this[string id] => byId[id].Value;

    /// <summary>A limit by id.</summary>
    public ProgressionLimit Limit(string id) => byId[id];

    /// <summary>The same rules with some limits set by a clinic, under the clinic's own version.</summary>
    /// <param name="version">Version, for instance "1-riverside".</param>
    /// <param name="set">Limits by id.</param>
    /// <exception cref="UnfitInputException">A limit that does not exist, a value out of its range, or the failure share above the success share.</exception>
    public ProgressionRules With(string version, IReadOnlyDictionary<string, decimal> set)
    {
        ArgumentNullException.ThrowIfNull(set);
        if (string.IsNullOrWhiteSpace(version) || version == Version)
            throw new UnfitInputException("version", version, $"a version other than {Version}", "name the clinic's own version");
        foreach (var (id, value) in set)
        {
            if (!byId.TryGetValue(id, out var limit))
                throw new UnfitInputException(id, $"{value}", $"one of {string.Join(", ", Needed)}", "use the id of a limit");
            if (value < limit.From || value > limit.To)
                throw new UnfitInputException(id, $"{value}", $"{limit.From} to {limit.To} {limit.Unit}", "choose a value in this range");
        }
        var changed = Limits.Where(limit => set.TryGetValue(limit.Id, out var value) && value != limit.Value)
            .Select(limit => $"{limit.Id} {Shown(set[limit.Id])} instead of {Shown(limit.Value)}").ToList();
        var rules = new ProgressionRules(version, [.. Limits.Select(limit => set.TryGetValue(limit.Id, out var value)
            ? limit with { Value = value, Source = new Source($"set by the clinic ({version})", Mark.CommonPractice) }
            : limit)], changed.Count == 0 ? ClinicChanges : string.Join(", ", changed));
        return rules["failure-share"] <= rules["success-share"] ? rules
            : throw new UnfitInputException("failure-share", $"{rules["failure-share"]}", $"at most the success-share of {rules["success-share"]}", "lower it");
    }

    private static string Shown(decimal value) => value.ToString("0.###", System.Globalization.CultureInfo.InvariantCulture);

    private sealed record RuleFile(string Version, IReadOnlyList<ProgressionLimit> Limits);
}
