using System.Globalization;
using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Search;

/// <summary>Reads one value of a criterion, by the kind of its parameter.</summary>
internal static class ValueParser
{
    /// <summary>Beyond what any quantity of a record can be, and well inside what decimals can hold.</summary>
    private const decimal Largest = 1e15m;

    private static readonly string[] _prefixes = ["eq", "ne", "gt", "lt", "ge", "le", "sa", "eb", "ap"];

    public static SearchValue Value(SearchParam parameter, string? modifier, string name, string part, string? ownBase)
    {
        if (part.Length == 0)
            throw SearchQuery.Bad(name, "one of its values is empty");
        return parameter.Kind switch
        {
            _ when parameter.Code == "_id" => new IdValue(EscapedText.Plain(part)),
            _ when modifier == "identifier" => Token(name, part),
            _ when modifier == "text" => new StringValue(TextMatch.Starts, EscapedText.Plain(part)),
            _ when modifier == "of-type" => OfType(name, part),
            SearchParamType.Composite => Composite(parameter, name, part, ownBase),
            SearchParamType.String => new StringValue(
                modifier switch { "exact" => TextMatch.Exact, "contains" => TextMatch.Contains, _ => TextMatch.Starts }, EscapedText.Plain(part)),
            SearchParamType.Uri => new UriValue(EscapedText.Plain(part), modifier switch { "above" => UriMatch.Above, "below" => UriMatch.Below, _ => UriMatch.Same }),
            var kind => Plain(kind, parameter.Targets, modifier, name, part, ownBase),
        };
    }

    private static SearchValue Plain(SearchParamType kind, IReadOnlyList<string> targets, string? modifier, string name, string part, string? ownBase) => kind switch
    {
        SearchParamType.Token => Token(name, part),
        SearchParamType.Date => Date(name, part),
        SearchParamType.Reference => Reference(targets, modifier, EscapedText.Plain(part), ownBase),
        SearchParamType.String => new StringValue(TextMatch.Starts, EscapedText.Plain(part)),
        _ => Quantity(name, part),
    };

    private static CompositeValue Composite(SearchParam parameter, string name, string part, string? ownBase)
    {
        var parts = EscapedText.Split(part, '$').ToList();
        if (parts.Count != 2 || parts.Exists(p => p.Length == 0))
            throw SearchQuery.Bad(name, $"'{part}' must be two values with a dollar sign between them; a dollar sign that belongs to a value is written \\$");
        var second = parameter.Components[1];
        return new CompositeValue(Token(name, parts[0]), Plain(second.Kind, second.Targets, null, name, parts[1], ownBase));
    }

    private static OfTypeValue OfType(string name, string part) =>
        EscapedText.Split(part, '|').Select(EscapedText.Plain).ToList() is [{ Length: > 0 } system, { Length: > 0 } code, { Length: > 0 } value]
            ? new OfTypeValue(system, IndexValues.Code(code), IndexValues.Code(value))
            : throw SearchQuery.Bad(name, $"'{part}' must be the system and the code of the identifier's type and its value, with bars between them");

    public static TokenValue Token(string name, string part)
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

    private static ReferenceValue Reference(IReadOnlyList<string> targets, string? type, string part, string? ownBase)
    {
        var bar = part.IndexOf('|', StringComparison.Ordinal);
        if (bar >= 0)
            return new ReferenceValue([part[..bar]], part[(bar + 1)..]);
        var local = ReferenceTypes.WithoutBase(part, ownBase);
        if (type is not null && !local.Contains('/', StringComparison.Ordinal))
            return new ReferenceValue([$"{type}/{local}"], null);
        if (ReferenceTypes.Split(local) is { } split)
        {
            var version = split.Version.Length == 0 ? null : split.Version;
            return split.Base.Length == 0
                ? new ReferenceValue([$"{split.Type}/{split.Id}"], version)
                : new ReferenceValue([$"{split.Base}/{split.Type}/{split.Id}"], version);
        }

        return local.Contains('/', StringComparison.Ordinal) || local.Contains(':', StringComparison.Ordinal)
            ? new ReferenceValue([part], null)
            : new ReferenceValue([.. (targets.Count > 0 ? targets : ModelInfo.SupportedResources).Select(t => $"{t}/{local}")], null);
    }

    private static QuantityValue Quantity(string name, string part)
    {
        var parts = EscapedText.Split(part, '|').Select(EscapedText.Plain).ToList();
        var (comparison, number) = Prefix(parts[0]);
        if (parts.Count is not (1 or 3) || !decimal.TryParse(number, NumberStyles.Float, CultureInfo.InvariantCulture, out var value)
            || Math.Abs(value) > Largest || (number.IndexOfAny(['e', 'E']) is var e and >= 0 && number.Length - e > 4))
            throw SearchQuery.Bad(name, $"'{part}' is not a number, or number|system|unit such as 24.5|http://unitsofmeasure.org|s, with or without one of {string.Join(", ", _prefixes)} before it");
        var (low, high) = comparison == Comparison.Ap ? Around(value) : Precision(number, value);
        var system = parts is [_, { Length: > 0 } s, _] ? s : null;
        var unit = parts is [_, _, { Length: > 0 } u] ? u : null;
        return new QuantityValue(comparison, (double)value, (double)low, (double)high, system, unit) { InBase = InBase(system, unit, value, low, high) };
    }

    private static BaseQuantity? InBase(string? system, string? unit, decimal value, decimal low, decimal high) =>
        CanonicalUnit.Of(system, unit) is { } canonical && canonical.ToBase(value) is { } v && canonical.ToBase(low) is { } l && canonical.ToBase(high) is { } h
            ? new BaseQuantity(canonical.Code, (double)v, (double)l, (double)h)
            : null;

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
