using System.Collections.Concurrent;
using Fhir.Metrics;
using RehabRecords.Fhir.Validation;

namespace RehabRecords.Fhir.Search;

/// <summary>
/// A UCUM unit in base units: minutes are 60 seconds. Units with an annotation are left as they are, since {reps} and
/// {score} both equal 1 and must not be taken for one another; so are those that are no multiple (degrees Celsius).
/// </summary>
internal sealed record CanonicalUnit(string Code, decimal Factor)
{
    private const int MaxRemembered = 1000;

    // Those of every day: reading the table of units takes most of a second, which no first write should wait for.
    private static readonly Dictionary<string, CanonicalUnit> _everyday = new(StringComparer.Ordinal)
    {
        ["s"] = new("s", 1),
        ["min"] = new("s", 60),
        ["h"] = new("s", 3600),
        ["d"] = new("s", 86_400),
        ["wk"] = new("s", 604_800),
        ["m"] = new("m", 1),
        ["cm"] = new("m", 0.01m),
        ["mm"] = new("m", 0.001m),
        ["m/s"] = new("m.s-1", 1),
        ["g"] = new("g", 1),
        ["kg"] = new("g", 1000),
        ["N"] = new("g.m.s-2", 1000),
    };

    private static readonly Lazy<SystemOfUnits> _units = new(UCUM.Load);
    private static readonly ConcurrentDictionary<string, CanonicalUnit?> _known = new(_everyday.Select(e => KeyValuePair.Create(e.Key, (CanonicalUnit?)e.Value)), StringComparer.Ordinal);
    private static readonly Lock _reading = new();

    /// <summary>The units that are known without the table.</summary>
    public static IReadOnlyDictionary<string, CanonicalUnit> Everyday => _everyday;

    /// <summary>Null where the code is none of UCUM, or is left as it is.</summary>
    public static CanonicalUnit? Of(string? system, string? code)
    {
        if (system != UcumCode.System || code is not { Length: > 0 })
            return null;
        if (_known.TryGetValue(code, out var known))
            return known;
        var found = !code.Contains('{', StringComparison.Ordinal) && UcumCode.IsValid(code) ? ByTable(code) : null;
        if (_known.Count < MaxRemembered)
            _known.TryAdd(code, found);
        return found;
    }

    public decimal? ToBase(decimal value)
    {
        try
        {
            return value * Factor;
        }
        catch (OverflowException)
        {
            return null;
        }
    }

    internal static CanonicalUnit? ByTable(string code)
    {
        try
        {
            // The library does not say that it may be used from several threads at once.
            lock (_reading)
            {
                // A unit that is a multiple of its base is so at any number.
                var one = _units.Value.Canonical(_units.Value.Quantity(Exponential.Exact(1m), code));
                var two = _units.Value.Canonical(_units.Value.Quantity(Exponential.Exact(2m), code));
                var (factor, twice) = (one.Value.ToDecimal(), two.Value.ToDecimal());
                return factor > 0 && Math.Abs(twice - (2 * factor)) <= factor / 1_000_000 ? new CanonicalUnit(one.Metric.Symbols is { Length: > 0 } symbols ? symbols : "1", factor) : null;
            }
        }
#pragma warning disable CA1031 // It throws exceptions of many kinds for what it cannot turn; each means: left as it is.
        catch (Exception)
#pragma warning restore CA1031
        {
            return null;
        }
    }
}
