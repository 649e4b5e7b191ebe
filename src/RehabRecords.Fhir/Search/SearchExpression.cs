namespace RehabRecords.Fhir.Search;

/// <summary>
/// Official expressions name every type they apply to, joined by "|". Only the parts of one type are evaluated for it:
/// the others would find nothing and cost the same.
/// </summary>
internal static class SearchExpression
{
    public static string? For(string type, string? expression)
    {
        if (string.IsNullOrWhiteSpace(expression))
            return null;
        var parts = Split(expression).Where(part => AppliesTo(type, part)).ToList();
        return parts.Count == 0 ? null : string.Join(" | ", parts);
    }

    public static IEnumerable<string> Split(string expression)
    {
        var depth = 0;
        var quoted = false;
        var start = 0;
        for (var i = 0; i < expression.Length; i++)
        {
            switch (expression[i])
            {
                case '\'':
                    quoted = !quoted;
                    break;
                case '(' when !quoted:
                    depth++;
                    break;
                case ')' when !quoted:
                    depth--;
                    break;
                case '|' when !quoted && depth == 0:
                    yield return expression[start..i].Trim();
                    start = i + 1;
                    break;
            }
        }

        yield return expression[start..].Trim();
    }

    private static bool AppliesTo(string type, string part)
    {
        var name = new string([.. part.TrimStart('(', ' ').TakeWhile(char.IsLetter)]);
        return name == type || name is "Resource" or "DomainResource";
    }
}
