namespace RehabRecords.Clinical;

/// <summary>
/// A descriptive trend: Theil-Sen slope over real days with its confidence interval, and the Mann-Kendall test.
/// Practice effects and serial dependence break the test, so it describes and never proves.
/// </summary>
/// <param name="Count">Number of points.</param>
/// <param name="SlopePerWeek">Change per 7 days; null with fewer than 2 distinct times.</param>
/// <param name="LowPerWeek">Lower end of the 95 % interval, per 7 days; null when too few points for one.</param>
/// <param name="HighPerWeek">Upper end.</param>
/// <param name="S">Mann-Kendall S.</param>
/// <param name="P">Two-sided p; null when too few points.</param>
/// <param name="Verdict">What can be said.</param>
/// <param name="Text">In plain words, without the measure's name.</param>
/// <param name="Evidence">Addresses of the points, oldest first.</param>
public sealed record Trend(
    int Count, double? SlopePerWeek, double? LowPerWeek, double? HighPerWeek, int S, double? P,
    TrendVerdict Verdict, string Text, IReadOnlyList<string> Evidence)
{
    /// <summary>Fewest points for a test: of four, even a strict rise has an exact two-sided p of 0.083.</summary>
    public const int FewestPoints = 5;

    /// <summary>p below which a trend is stated.</summary>
    public const double Alpha = 0.05;

    /// <summary>The trend of a series in any order; times are turned to days, so that uneven intervals count as they are.</summary>
    /// <param name="points">Finite values; points at the same instant are allowed and form no pair.</param>
    /// <param name="direction">Which way is better.</param>
    /// <param name="unit">Unit for the text, as a person reads it ("s", "kg", "points").</param>
    /// <exception cref="UnfitInputException">A value is not finite.</exception>
    public static Trend Of(IReadOnlyList<TrendPoint> points, Direction direction, string unit)
    {
        ArgumentNullException.ThrowIfNull(points);
        var ordered = points.OrderBy(p => p.At).ThenBy(p => p.Value).ThenBy(p => p.Evidence, StringComparer.Ordinal).ToList();
        var days = ordered.Select(p => (p.At - ordered[0].At).TotalDays).ToList();
        var values = ordered.Select(p => p.Value).ToList();
        var line = TheilSen.Fit(days, values);
        var test = MannKendall.Of(days, values);
        var tooFew = ordered.Count < FewestPoints;
        double? p = tooFew ? null : test.P;
        var verdict = tooFew ? TrendVerdict.TooFewPoints
            // Many ties can give a small p beside a middle slope of nothing: no amount of change could be named.
            : test.P >= Alpha || line is not { Slope: not 0 } ? TrendVerdict.NoTrendShown
            : MeasureChange.DirectionOf(direction, test.S) switch
            {
                ChangeDirection.Improved => TrendVerdict.Improving,
                ChangeDirection.Worsened => TrendVerdict.Worsening,
                _ => TrendVerdict.Changing,
            };
        var (low, high) = (line?.Low * 7, line?.High * 7);
        var slope = line?.Slope * 7;
        return new(ordered.Count, slope, low, high, test.S, p, verdict, Words(ordered.Count, slope, low, high, p, verdict, unit),
            [.. ordered.Select(point => point.Evidence)]);
    }

    private static string Words(int count, double? slope, double? low, double? high, double? p, TrendVerdict verdict, string unit)
    {
        if (verdict == TrendVerdict.TooFewPoints)
            return $"Too few points for a trend test ({count}; at least {FewestPoints} are needed).";
        var interval = low is null ? "no interval from so few points" : $"95 % interval {Signed(low.Value)} to {Signed(high!.Value)}";
        var change = slope is null ? "no slope, all at one time" : $"{Signed(slope.Value)} {unit} a week ({interval})";
        var said = verdict switch
        {
            TrendVerdict.Improving => "Consistent change towards better",
            TrendVerdict.Worsening => "Consistent change towards worse",
            TrendVerdict.Changing => "Consistent change",
            _ => "No consistent trend shown",
        };
        return $"{said}: {change}, Mann-Kendall p {(p < 0.001 ? "below 0.001" : $"{p:F3}")}, {count} points; descriptive only.";
    }

    private static string Signed(double value) => Math.Abs(value) < 0.005 ? "0.00" : value.ToString("+0.00;-0.00");
}
