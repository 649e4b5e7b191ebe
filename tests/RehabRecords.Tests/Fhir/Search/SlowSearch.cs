using System.Globalization;
using System.Text;
using Hl7.Fhir.Model;

namespace RehabRecords.Tests.Fhir.Search;

/// <summary>
/// The rules of R4 search written down a second time, over the resources themselves and with no index, no FHIRPath and no
/// SQL: slow, and simple enough to be checked by reading.
/// </summary>
internal static class SlowSearch
{
    public static readonly DateTime Ever = new(1, 1, 1);
    public static readonly DateTime Never = new(9999, 12, 31);

    public static (DateTime From, DateTime To) Span(string text)
    {
        if (text.Length == 4)
            return (new DateTime(Number(text), 1, 1), new DateTime(Number(text) + 1, 1, 1));
        if (text.Length == 7)
        {
            var month = new DateTime(Number(text[..4]), Number(text[5..]), 1);
            return (month, month.AddMonths(1));
        }

        if (text.Length == 10)
        {
            var day = new DateTime(Number(text[..4]), Number(text[5..7]), Number(text[8..]));
            return (day, day.AddDays(1));
        }

        var second = DateTimeOffset.Parse(text, CultureInfo.InvariantCulture).UtcDateTime;
        return (second, second.AddSeconds(1));
    }

    public static IEnumerable<(DateTime From, DateTime To)> Spans(DataType? element)
    {
        switch (element)
        {
            case FhirDateTime { Value: { } value }:
                yield return Span(value);
                break;
            case Date { Value: { } value }:
                yield return Span(value);
                break;
            case Period period:
                yield return (period.Start is null ? Ever : Span(period.Start).From, period.End is null ? Never : Span(period.End).To);
                break;
            case Timing timing:
                var spans = timing.Event.Select(e => Span(e!)).ToList();
                yield return (spans.Min(s => s.From), spans.Max(s => s.To));
                break;
        }
    }

    public static bool DateMatches(string prefix, (DateTime From, DateTime To) value, (DateTime From, DateTime To) asked)
    {
        var inside = value.From >= asked.From && value.To <= asked.To;
        return prefix switch
        {
            "" or "eq" => inside,
            "ne" => !inside,
            "gt" => value.To > asked.To,
            "lt" => value.From < asked.From,
            "ge" => value.To > asked.To || inside,
            "le" => value.From < asked.From || inside,
            "sa" => value.From >= asked.To,
            "eb" => value.To <= asked.From,
            _ => throw new ArgumentException(prefix),
        };
    }

    public static bool NumberMatches(string prefix, Quantity value, string asked)
    {
        var number = decimal.Parse(asked, CultureInfo.InvariantCulture);
        var digits = asked.Contains('.', StringComparison.Ordinal) ? asked.Length - asked.IndexOf('.', StringComparison.Ordinal) - 1 : 0;
        var half = 0.5m / (decimal)Math.Pow(10, digits);
        var below = value.Comparator is Quantity.QuantityComparator.LessThan or Quantity.QuantityComparator.LessOrEqual;
        var above = value.Comparator is Quantity.QuantityComparator.GreaterThan or Quantity.QuantityComparator.GreaterOrEqual;
        var same = !below && !above && value.Value >= number - half && value.Value < number + half;
        return prefix switch
        {
            "" or "eq" => same,
            "ne" => !same,
            "gt" => above || value.Value > number,
            "lt" => below || value.Value < number,
            "ge" => above || value.Value >= number,
            "le" => below || value.Value <= number,
            _ => throw new ArgumentException(prefix),
        };
    }

    /// <summary>"code", "system|code", "|code" or "system|".</summary>
    public static bool TokenMatches(string? system, string? code, string asked)
    {
        var bar = asked.IndexOf('|', StringComparison.Ordinal);
        var sameCode = string.Equals(code ?? "", asked[(bar + 1)..], StringComparison.OrdinalIgnoreCase);
        if (bar < 0)
            return sameCode;
        var sameSystem = (system ?? "") == asked[..bar];
        return sameSystem && (bar == asked.Length - 1 || sameCode);
    }

    /// <summary>Only the letters that the samples use.</summary>
    public static string Plain(string text)
    {
        var plain = new StringBuilder();
        foreach (var letter in text.ToLowerInvariant())
            plain.Append(letter switch { 'é' or 'è' => 'e', 'ö' or 'ø' => 'o', 'å' or 'ä' => 'a', 'ñ' => 'n', _ => letter });
        return plain.ToString();
    }

    public static bool TextMatches(string modifier, string value, string asked) => modifier switch
    {
        "" => Plain(value).StartsWith(Plain(asked), StringComparison.Ordinal),
        ":contains" => Plain(value).Contains(Plain(asked), StringComparison.Ordinal),
        ":exact" => value == asked,
        _ => throw new ArgumentException(modifier),
    };

    private static int Number(string text) => int.Parse(text, CultureInfo.InvariantCulture);
}
