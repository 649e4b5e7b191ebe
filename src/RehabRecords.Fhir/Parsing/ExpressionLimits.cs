using System.Text.RegularExpressions;

namespace RehabRecords.Fhir.Parsing;

/// <summary>Limits on what FHIRPath and regular expressions may cost.</summary>
public static class ExpressionLimits
{
    public const int MaxLength = 2_000;
    public const int MaxBrackets = 64;

    public static readonly TimeSpan PatternTimeout = TimeSpan.FromMilliseconds(250);

    /// <summary>Gives every regular expression without a timeout of its own one. To be called before the first expression is made.</summary>
    /// <returns>False when that was too late: the process has used expressions before, and they wait for ever.</returns>
    public static bool Apply()
    {
        AppContext.SetData("REGEX_DEFAULT_MATCH_TIMEOUT", PatternTimeout);
        return new Regex("a").MatchTimeout == PatternTimeout;
    }

    /// <summary>What is wrong with a FHIRPath from outside, or null. Too many brackets would end the process.</summary>
    public static string? Problem(string expression)
    {
        ArgumentNullException.ThrowIfNull(expression);
        if (expression.Length > MaxLength)
            return $"A FHIRPath has {expression.Length} characters; at most {MaxLength} are accepted. Split the rule.";
        var open = 0;
        var deepest = 0;
        foreach (var c in expression)
        {
            open += c is '(' or '[' or '{' ? 1 : c is ')' or ']' or '}' ? -1 : 0;
            deepest = Math.Max(deepest, open);
        }

        return deepest > MaxBrackets ? $"A FHIRPath nests {deepest} brackets; at most {MaxBrackets} are accepted. Split the rule." : null;
    }
}
