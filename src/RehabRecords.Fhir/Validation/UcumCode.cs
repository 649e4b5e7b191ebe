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
        return code.Length > 0 && WithoutAnnotations(code) is { } bare && Terms(bare) is { } terms && terms.All(IsUnit);
    }

    private static bool IsUnit(string term)
    {
        // Reading the table of units takes most of a second, which the units of every day need not wait for.
        if (term.All(char.IsAsciiDigit) || (Known.TryGetValue(term, out var valid) && valid))
            return true;
        try
        {
            // The library does not say that it may be used from several threads at once.
            lock (Parsing)
                return Units.Value.Metric(term) is not null;
        }
#pragma warning disable CA1031 // It throws exceptions of many kinds for what it cannot read; each means: not a unit.
        catch (Exception)
#pragma warning restore CA1031
        {
            return false;
        }
    }

    /// <summary>The units between the signs of multiplication and division, or null when those are not in their places.</summary>
    private static List<string>? Terms(string code)
    {
        var terms = new List<string>();
        var open = 0;
        var start = 0;
        for (var i = 0; i <= code.Length; i++)
        {
            var c = i < code.Length ? code[i] : '.';
            if (c is not ('.' or '/' or '(' or ')'))
                continue;
            var term = code[start..i];
            start = i + 1;
            open += c == '(' ? 1 : c == ')' ? -1 : 0;
            // Nothing stands before a bracket that opens, before a leading solidus, or after a bracket that closes.
            var nothing = c == '(' || (c == '/' && i == 0) || (i > 0 && code[i - 1] == ')') || (c == '/' && i > 0 && code[i - 1] == '(');
            if (open < 0 || nothing != (term.Length == 0))
                return null;
            if (term.Length > 0)
                terms.Add(term);
        }

        return open == 0 ? terms : null;
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
