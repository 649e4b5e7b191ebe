using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Bundles;

/// <summary>
/// "The one that holds this identifier", as If-None-Exist and conditional references say it. Only identifiers are
/// claimed on unique rows, so only they can promise that there is one; any other condition is refused.
/// </summary>
public sealed record IdentifierCondition(string System, string Value)
{
    /// <param name="query">The condition, with or without a question mark in front.</param>
    /// <param name="expression">Where the condition stands, for the error.</param>
    public static IdentifierCondition Parse(string query, string expression)
    {
        var pairs = query.TrimStart('?').Split('&', StringSplitOptions.RemoveEmptyEntries);
        if (pairs.Length == 1 && pairs[0].Split('=', 2) is ["identifier", var token])
        {
            var parts = Split(Uri.UnescapeDataString(token.Replace('+', ' ')));
            if (parts is [{ Length: > 0 } system, { Length: > 0 } value])
                return new IdentifierCondition(system, value);
        }
        throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.NotSupported,
            $"The condition '{query}' cannot promise a single match. Use identifier=<system>|<value> and nothing else.", expression);
    }

    /// <summary>Whether a resource carries this identifier.</summary>
    public bool Holds(Resource resource) => IdentifiersOf(resource).Any(i => i.System == System && i.Value == Value);

    public override string ToString() => $"{System}|{Value}";

    private static IEnumerable<Identifier> IdentifiersOf(Resource resource) => resource.TryGetValue("identifier", out var found)
        ? found switch
        {
            Identifier one => [one],
            IEnumerable<Identifier> many => many,
            _ => [],
        }
        : [];

    // system|value, where a backslash takes the meaning from the bar, the comma or the dollar sign that follows.
    private static List<string> Split(string token)
    {
        var parts = new List<string> { "" };
        for (var i = 0; i < token.Length; i++)
        {
            if (token[i] == '\\' && i + 1 < token.Length && token[i + 1] is ('\\' or '|' or ',' or '$'))
                parts[^1] += token[++i];
            else if (token[i] is '|')
                parts.Add("");
            else if (token[i] is ',')
                return []; // a choice of values is more than one match
            else
                parts[^1] += token[i];
        }
        return parts;
    }
}
