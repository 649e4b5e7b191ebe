using System.Collections.Concurrent;
using System.Text;
using Fhir.Metrics;

namespace RehabRecords.Fhir.Validation;

/// <summary>
/// Whether a text is a UCUM code. Two units are the same only if their whole codes are: an annotation in braces always
/// equals 1, so {reps} and {score} would be taken for each other by any comparison of dimensions.
/// </summary>
public static class UcumCode
{
    public const string System = "http://unitsofmeasure.org";

    private const int MaxLength = 64;
    private const int MaxRemembered = 1000;
    private static readonly Lazy<SystemOfUnits> Units = new(UCUM.Load);
    private static readonly ConcurrentDictionary<string, bool> Known = new(
        new[] { "1", "%", "s", "min", "h", "d", "wk", "mo", "a", "m", "cm", "mm", "m/s", "kg", "g", "N", "kgf", "[lbf_av]", "deg", "/min", "mm[Hg]", "{score}", "{reps}", "{#}", "{#}/(30.s)" }
            .Select(code => new KeyValuePair<string, bool>(code, true)), StringComparer.Ordinal);
    private static readonly Lock Parsing = new();

    public static bool IsValid(string code)
    {
        ArgumentNullException.ThrowIfNull(code);
        if (Known.TryGetValue(code, out var valid))
            return valid;
        valid = Check(code);
        if (Known.Count < MaxRemembered)
            Known.TryAdd(code, valid);
        return valid;
    }

    private static bool Check(string code)
    {
        if (code.Length > MaxLength || code.Any(c => c is < '!' or > '~'))
            return false;
        var bare = WithoutAnnotations(code);
        if (bare is null)
            return false;
        if (bare.Length == 0)
            return true;
        try
        {
            // The library does not say that it may be used from several threads at once.
            lock (Parsing)
                return Units.Value.Metric(bare) is not null;
        }
#pragma warning disable CA1031 // It throws exceptions of many kinds for what it cannot read; each means: not a unit.
        catch (Exception)
#pragma warning restore CA1031
        {
            return false;
        }
    }

    /// <summary>The code with each annotation taken out, or null when the braces do not match.</summary>
    private static string? WithoutAnnotations(string code)
    {
        var bare = new StringBuilder(code.Length);
        var inside = false;
        foreach (var c in code)
        {
            if (c == '{' ? inside : c == '}' && !inside)
                return null;
            if (c is '{')
            {
                inside = true;
                // An annotation alone in its place stands for the unit 1: {#}/min is 1/min.
                if (bare.Length == 0 || bare[^1] is '/' or '.' or '(')
                    bare.Append('1');
            }
            else if (c is '}')
            {
                inside = false;
            }
            else if (!inside)
            {
                bare.Append(c);
            }
        }

        return inside ? null : bare.ToString();
    }
}
