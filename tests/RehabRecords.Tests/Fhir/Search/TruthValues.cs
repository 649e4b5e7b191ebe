using System.Globalization;
using Hl7.Fhir.Model;

namespace RehabRecords.Tests.Fhir.Search;

/// <summary>An amount or a span of amounts; null is without end.</summary>
internal sealed record Interval(decimal? Low, decimal? High, string System, string Code);

/// <summary>What elements mean to a search, element by element.</summary>
internal static class TruthValues
{
    public const string OwnBase = "http://here.example/fhir";

    public static readonly Dictionary<string, (string Base, decimal Factor)> InBase = new(StringComparer.Ordinal)
    {
        ["s"] = ("s", 1),
        ["min"] = ("s", 60),
        ["h"] = ("s", 3600),
        ["m"] = ("m", 1),
        ["cm"] = ("m", 0.01m),
        ["kg"] = ("g", 1000),
        ["g"] = ("g", 1),
        ["%"] = ("1", 0.01m),
        ["1"] = ("1", 1),
    };

    public static string? Other(string code) => code switch { "s" => "min", "min" => "s", "h" => "min", "m" => "cm", "cm" => "m", "kg" => "g", "g" => "kg", _ => null };

    /// <summary>By what a number in one unit is multiplied to be in another; null where they cannot be compared.</summary>
    public static decimal? InUnitOf(Interval amount, string code) =>
        amount.System != "http://unitsofmeasure.org" ? null
        : amount.Code == code ? 1
        : InBase.TryGetValue(amount.Code, out var one) && InBase.TryGetValue(code, out var other) && one.Base == other.Base ? one.Factor / other.Factor : null;

    public static IEnumerable<(string? System, string Code)> Tokens(Base value) => value switch
    {
        Coding c => [(c.System, c.Code ?? "")],
        CodeableConcept c => c.Coding.Select(x => (x.System, x.Code ?? "")),
        Identifier i => [(i.System, i.Value ?? "")],
        ContactPoint p => [(null, p.Value ?? "")],
        FhirBoolean b => [(null, b.Value == true ? "true" : "false")],
        PrimitiveType { JsonValue: string text } => [(null, text)],
        _ => [],
    };

    public static IEnumerable<string> Words(Base value) => value switch
    {
        Coding c => Given(c.Display),
        CodeableConcept c => Given([c.Text, .. c.Coding.Select(x => x.Display)]),
        Identifier i => Given(i.Type?.Text),
        _ => [],
    };

    public static IEnumerable<string> Texts(Base value) => value switch
    {
        HumanName n => Given([n.Text, n.Family, .. n.Given, .. n.Prefix, .. n.Suffix]),
        Address a => Given([a.Text, .. a.Line, a.City, a.District, a.State, a.PostalCode, a.Country]),
        CodeableConcept c => Words(c),
        PrimitiveType { JsonValue: string text } => [text],
        _ => [],
    };

    public static string Target(Base value) => value switch
    {
        ResourceReference { Reference: { } reference } => reference.Split("/_history/")[0],
        Resource { Id: { } id } inline => $"{inline.TypeName}/{id}",
        PrimitiveType { JsonValue: string canonical } => canonical.Split('|')[0],
        _ => "",
    };

    /// <summary>The dates of an element as they are written.</summary>
    public static IEnumerable<string> Written(Base value) => value switch
    {
        Period p => Given(p.Start, p.End),
        Timing t => t.Event.Select(e => e!),
        FhirDateTime or Date or Instant => Given(((PrimitiveType)value).JsonValue as string),
        _ => [],
    };

    public static IEnumerable<(DateTime From, DateTime To)> Spans(Base value)
    {
        switch (value)
        {
            case Period { Start: null, End: null }:
                break;
            case Period p:
                yield return (p.Start is null ? SlowSearch.Ever : Span(p.Start).From, p.End is null ? SlowSearch.Never : Span(p.End).To);
                break;
            case Timing t:
                var parts = t.Event.Select(e => Span(e!)).Concat(t.Repeat?.Bounds is Period bounds ? Spans(bounds) : []).ToList();
                if (parts.Count > 0)
                    yield return (parts.Min(x => x.From), parts.Max(x => x.To));
                break;
            default:
                foreach (var written in Written(value))
                    yield return Span(written);
                break;
        }
    }

    public static (DateTime From, DateTime To) Span(string written)
    {
        var point = written.IndexOf('.', StringComparison.Ordinal);
        if (point < 0)
            return SlowSearch.Span(written);
        var digits = written[(point + 1)..].TakeWhile(char.IsAsciiDigit).Count();
        var from = DateTimeOffset.Parse(written, CultureInfo.InvariantCulture).UtcDateTime;
        return (from, from.AddTicks((long)(TimeSpan.TicksPerSecond / Math.Pow(10, digits))));
    }

    public static Interval? Interval(Base value) => value switch
    {
        Quantity { Value: { } v } q => q.Comparator switch
        {
            Quantity.QuantityComparator.LessThan or Quantity.QuantityComparator.LessOrEqual => new(null, v, q.System ?? "", q.Code ?? ""),
            Quantity.QuantityComparator.GreaterThan or Quantity.QuantityComparator.GreaterOrEqual => new(v, null, q.System ?? "", q.Code ?? ""),
            _ => new(v, v, q.System ?? "", q.Code ?? ""),
        },
        Hl7.Fhir.Model.Range r when r.Low?.Value is not null || r.High?.Value is not null => new(r.Low?.Value, r.High?.Value, (r.Low ?? r.High)!.System ?? "", (r.Low ?? r.High)!.Code ?? ""),
        _ => null,
    };

    public static bool AmountMatches(string prefix, Interval found, string asked, decimal times)
    {
        var number = decimal.Parse(asked, CultureInfo.InvariantCulture);
        var digits = asked.Contains('.', StringComparison.Ordinal) ? asked.Length - asked.IndexOf('.', StringComparison.Ordinal) - 1 : 0;
        var half = 0.5m;
        for (var i = 0; i < digits; i++)
            half /= 10;
        // A quotient such as 1/60 has no end.
        var (low, high) = (Rounded(found.Low * times), Rounded(found.High * times));
        var same = low >= number - half && high < number + half;
        return prefix switch
        {
            "" => same,
            "ne" => !same,
            "gt" => high is null || high > number,
            "lt" => low is null || low < number,
            "ge" => high is null || high >= number,
            "le" => low is null || low <= number,
            "sa" => low > number,
            "eb" => high < number,
            _ => throw new ArgumentException(prefix),
        };
    }

    private static decimal? Rounded(decimal? number) => number is { } n ? decimal.Round(n, 15) : null;

    private static IEnumerable<string> Given(params IEnumerable<string?> texts) => texts.Where(t => !string.IsNullOrEmpty(t)).Select(t => t!);
}
