using System.Globalization;
using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Search;

/// <summary>Turns amounts into rows: as they are written, and in base units where the unit has such.</summary>
internal static class IndexQuantities
{
    public static void Add(IndexRows rows, int key, Base element)
    {
        switch (element)
        {
            case Quantity { Value: { } value } quantity:
                var (low, high) = quantity.Comparator switch
                {
                    Quantity.QuantityComparator.LessThan or Quantity.QuantityComparator.LessOrEqual => ((decimal?)null, (decimal?)value),
                    Quantity.QuantityComparator.GreaterThan or Quantity.QuantityComparator.GreaterOrEqual => (value, null),
                    _ => (value, value),
                };
                rows.Quantities.Add(Row(key, quantity, low, high));
                break;
            case Hl7.Fhir.Model.Range range when range.Low?.Value is not null || range.High?.Value is not null:
                rows.Quantities.Add(Row(key, range.Low ?? range.High!, range.Low?.Value, range.High?.Value));
                break;
            case SampledData { Origin: { } origin } sampled when Bounds(sampled) is var (least, most):
                rows.Quantities.Add(Row(key, origin, least, most));
                break;
            case PrimitiveType { JsonValue: { } number } when decimal.TryParse(Convert.ToString(number, CultureInfo.InvariantCulture), NumberStyles.Float, CultureInfo.InvariantCulture, out var plain):
                rows.Quantities.Add(new QuantityRow(key, "", "", "", (double)plain, (double)plain));
                break;
        }
    }

    private static QuantityRow Row(int key, Quantity unit, decimal? low, decimal? high) =>
        new(key, unit.System ?? "", unit.Code ?? "", unit.Unit ?? "", (double?)low ?? double.NegativeInfinity, (double?)high ?? double.PositiveInfinity)
        {
            InBase = CanonicalUnit.Of(unit.System, unit.Code) is { } canonical
                ? (canonical.Code, ToBase(canonical, low) ?? double.NegativeInfinity, ToBase(canonical, high) ?? double.PositiveInfinity)
                : null,
        };

    private static double? ToBase(CanonicalUnit canonical, decimal? value) => value is { } number ? (double?)canonical.ToBase(number) ?? (double)number * (double)canonical.Factor : null;

    /// <summary>Of sampled data only the bounds are searched, as R4 says; "E", "U" and "L" stand for no number.</summary>
    private static (decimal, decimal)? Bounds(SampledData sampled)
    {
        var points = (sampled.Data ?? "").Split(' ', StringSplitOptions.RemoveEmptyEntries)
            .Select(p => decimal.TryParse(p, NumberStyles.Float, CultureInfo.InvariantCulture, out var n) ? n : (decimal?)null).OfType<decimal>()
            .Select(n => (sampled.Origin?.Value ?? 0) + (n * (sampled.Factor ?? 1))).ToList();
        return points.Count == 0 ? null : (points.Min(), points.Max());
    }
}
