using System.Globalization;
using System.Security.Cryptography;
using System.Text;
using RehabRecords.Clinical;

namespace RehabRecords.Progress;

/// <summary>The rules in force: those that ship, or what the clinic has set in their place within the allowed ranges.</summary>
public sealed record ClinicRules(ProgressionRules Progression, AdherenceRule Adherence)
{
    public static ClinicRules Default { get; } = new(ProgressionRules.Default, AdherenceRule.MoreThan70);

    /// <summary>
    /// The clinic's limits under a version of their own, made from the limits, so that a suggestion of today can be told
    /// from one made before a limit was moved.
    /// </summary>
    /// <param name="limits">Limits by id, as set; empty takes the rules that ship.</param>
    /// <param name="percent">Per cent of the adherence definition; null takes the published 70.</param>
    /// <param name="strict">"More than" or "at least"; null takes "more than".</param>
    /// <exception cref="UnfitInputException">An id that does not exist, or a value out of its range.</exception>
    public static ClinicRules Of(IReadOnlyDictionary<string, decimal> limits, decimal? percent, bool? strict)
    {
        var shipped = ProgressionRules.Default;
        var set = limits.ToDictionary(limit => limit.Key.ToLowerInvariant(), limit => limit.Value);
        var moved = set.Where(limit => shipped.Limits.All(known => known.Id != limit.Key || known.Value != limit.Value)).ToDictionary();
        return new ClinicRules(
            moved.Count == 0 ? shipped : shipped.With(VersionOf(shipped.Version, moved), moved),
            AdherenceRule.Of(percent ?? AdherenceRule.MoreThan70.Threshold * 100, strict ?? AdherenceRule.MoreThan70.Strict));
    }

    private static string VersionOf(string shipped, Dictionary<string, decimal> moved)
    {
        var text = string.Join(';', moved.OrderBy(limit => limit.Key, StringComparer.Ordinal)
            .Select(limit => string.Create(CultureInfo.InvariantCulture, $"{limit.Key}={limit.Value:0.######}")));
        return $"{shipped}-clinic-{Convert.ToHexStringLower(SHA256.HashData(Encoding.UTF8.GetBytes(text)))[..8]}";
    }
}
