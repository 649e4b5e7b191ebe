using System.Globalization;
using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Search;

/// <summary>Reads one "name[:modifier]=value[,value…]".</summary>
internal static class CriterionParser
{
    /// <summary>Beyond what any quantity of a record can be, and well inside what decimals can hold.</summary>
    private const decimal Largest = 1e15m;

    private static readonly string[] _prefixes = ["eq", "ne", "gt", "lt", "ge", "le", "sa", "eb", "ap"];

    /// <returns>Null where the parameter is not known and that is to be passed over.</returns>
    public static Criterion? Parse(SearchParameters parameters, string type, string name, string text, bool lenient)
    {
        var colon = name.IndexOf(':', StringComparison.Ordinal);
        var code = colon < 0 ? name : name[..colon];
        var modifier = colon < 0 ? null : name[(colon + 1)..];
        if (parameters.Find(type, code) is not { } parameter)
        {
            return lenient
                ? null
                : throw SearchQuery.Bad(
                    name,
                    code.Contains('.', StringComparison.Ordinal) || code == "_has"
                        ? "chained searches are not offered; search in two steps"
                        : $"{type} has no such parameter; it has {string.Join(", ", parameters.For(type).Select(p => p.Code))}");
        }

        if (modifier == "missing" && !parameter.IsOwnColumn)
        {
            return text switch
            {
                "true" => new MissingCriterion(parameter, true),
                "false" => new MissingCriterion(parameter, false),
                _ => throw SearchQuery.Bad(name, $"'{text}' is neither true nor false"),
            };
        }

        if (modifier is not null && !Takes(parameter, modifier))
            throw SearchQuery.Bad(name, $"the modifier :{modifier} is not offered for it, only {string.Join(", ", ModifiersOf(parameter).Select(m => ":" + m))}");
        var values = EscapedText.Split(text, ',').Select(part => Value(parameter, modifier, name, part)).ToList();
        return new ValueCriterion(parameter, values, modifier == "not", modifier == "identifier");
    }

    public static IEnumerable<string> ModifiersOf(SearchParam parameter) => parameter switch
    {
        { IsOwnColumn: true } => [],
        { Kind: SearchParamType.Token } => ["missing", "not"],
        { Kind: SearchParamType.String } => ["missing", "exact", "contains"],
        { Kind: SearchParamType.Reference } => ["missing", "identifier", .. parameter.Targets],
        _ => ["missing"],
    };

    private static bool Takes(SearchParam parameter, string modifier) => ModifiersOf(parameter).Contains(modifier);

    private static SearchValue Value(SearchParam parameter, string? modifier, string name, string part)
    {
        if (part.Length == 0)
            throw SearchQuery.Bad(name, "one of its values is empty");
        return parameter.Kind switch
        {
            _ when parameter.Code == "_id" => new IdValue(EscapedText.Plain(part)),
            SearchParamType.Token => Token(name, part),
            SearchParamType.Date => Date(name, part),
            SearchParamType.Reference => modifier == "identifier" ? Token(name, part) : Reference(parameter, modifier, EscapedText.Plain(part)),
            SearchParamType.String => new StringValue(
                modifier switch { "exact" => TextMatch.Exact, "contains" => TextMatch.Contains, _ => TextMatch.Starts }, EscapedText.Plain(part)),
            SearchParamType.Uri => new UriValue(EscapedText.Plain(part)),
            _ => Quantity(name, part),
        };
    }

    private static TokenValue Token(string name, string part)
    {
        var parts = EscapedText.Split(part, '|').Select(EscapedText.Plain).ToList();
        return parts switch
        {
            [var code] => new TokenValue(null, IndexValues.Code(code)),
            ["", ""] => throw SearchQuery.Bad(name, "it has neither a system nor a code"),
            [var system, ""] => new TokenValue(system, null),
            [var system, var code] => new TokenValue(system, IndexValues.Code(code)),
            _ => throw SearchQuery.Bad(name, $"'{part}' has more than one bar; a bar that belongs to the value is written \\|"),
        };
    }

    private static (Comparison Comparison, string Value) Prefix(string part)
    {
        var at = part.Length > 2 ? Array.IndexOf(_prefixes, part[..2]) : -1;
        return at < 0 ? (Comparison.Eq, part) : ((Comparison)at, part[2..]);
    }

    private static DateValue Date(string name, string part)
    {
        var (comparison, rest) = Prefix(EscapedText.Plain(part));
        return DateRange.Parse(rest) is { } range
            ? new DateValue(comparison, range.Start, range.Finish)
            : throw SearchQuery.Bad(name, $"'{part}' is not a date such as 2026, 2026-03, 2026-03-09 or 2026-03-09T14:00:00Z, with or without one of {string.Join(", ", _prefixes)} before it");
    }

    private static ReferenceValue Reference(SearchParam parameter, string? type, string part)
    {
        var bar = part.IndexOf('|', StringComparison.Ordinal);
        if (bar >= 0)
            return new ReferenceValue([part[..bar]], part[(bar + 1)..]);
        if (type is not null && !part.Contains('/', StringComparison.Ordinal))
            return new ReferenceValue([$"{type}/{part}"], null);
        if (ReferenceTypes.Split(part) is { } split)
            return new ReferenceValue([split.Base.Length == 0 ? $"{split.Type}/{split.Id}" : $"{split.Base}/{split.Type}/{split.Id}"], split.Version.Length == 0 ? null : split.Version);
        return part.Contains('/', StringComparison.Ordinal) || part.Contains(':', StringComparison.Ordinal)
            ? new ReferenceValue([part], null)
            : new ReferenceValue([.. (parameter.Targets.Count > 0 ? parameter.Targets : ModelInfo.SupportedResources).Select(t => $"{t}/{part}")], null);
    }

    private static QuantityValue Quantity(string name, string part)
    {
        var parts = EscapedText.Split(part, '|').Select(EscapedText.Plain).ToList();
        var (comparison, number) = Prefix(parts[0]);
        if (parts.Count is not (1 or 3) || !decimal.TryParse(number, NumberStyles.Float, CultureInfo.InvariantCulture, out var value)
            || Math.Abs(value) > Largest || (number.IndexOfAny(['e', 'E']) is var e and >= 0 && number.Length - e > 4))
            throw SearchQuery.Bad(name, $"'{part}' is not a number, or number|system|unit such as 24.5|http://unitsofmeasure.org|s, with or without one of {string.Join(", ", _prefixes)} before it");
        var (low, high) = comparison == Comparison.Ap ? Around(value) : Precision(number, value);
        return new QuantityValue(
            comparison, (double)value, (double)low, (double)high, parts is [_, { Length: > 0 } system, _] ? system : null, parts is [_, _, { Length: > 0 } unit] ? unit : null);
    }

    private static (decimal Low, decimal High) Around(decimal value) => (value - (Math.Abs(value) / 10), value + (Math.Abs(value) / 10));

    /// <summary>Half of the last written digit, either way.</summary>
    private static (decimal Low, decimal High) Precision(string number, decimal value)
    {
        var exponentAt = number.IndexOfAny(['e', 'E']);
        var mantissa = exponentAt < 0 ? number : number[..exponentAt];
        var exponent = exponentAt < 0 ? 0 : int.Parse(number[(exponentAt + 1)..], CultureInfo.InvariantCulture);
        var dot = mantissa.IndexOf('.', StringComparison.Ordinal);
        var digits = Math.Clamp((dot < 0 ? 0 : mantissa.Length - dot - 1) - exponent, -28, 27);
        var half = 0.5m;
        for (; digits > 0; digits--)
            half /= 10;
        for (; digits < 0; digits++)
            half *= 10;
        return (value - half, value + half);
    }
}

/// <summary>In search values a backslash takes the meaning from "," "|" "$" and itself.</summary>
internal static class EscapedText
{
    public static IEnumerable<string> Split(string text, char at)
    {
        var start = 0;
        for (var i = 0; i < text.Length; i++)
        {
            if (text[i] == '\\')
            {
                i++;
            }
            else if (text[i] == at)
            {
                yield return text[start..i];
                start = i + 1;
            }
        }

        yield return text[start..];
    }

    public static string Plain(string text)
    {
        if (!text.Contains('\\', StringComparison.Ordinal))
            return text;
        var plain = new System.Text.StringBuilder(text.Length);
        for (var i = 0; i < text.Length; i++)
        {
            if (text[i] == '\\' && i + 1 < text.Length)
                i++;
            plain.Append(text[i]);
        }

        return plain.ToString();
    }
}
