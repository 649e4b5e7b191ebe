using MathNet.Numerics.Distributions;
using MathNet.Numerics.Statistics;

namespace RehabRecords.Clinical;

/// <summary>A Theil-Sen line.</summary>
/// <param name="Slope">Median of the slopes of all pairs with different x.</param>
/// <param name="Intercept">Median of y − slope × x. (Other texts use median(y) − slope × median(x), which can differ.)</param>
/// <param name="Low">Lower end of the 95 % interval of the slope; null with too few pairs for one.</param>
/// <param name="High">Upper end.</param>
/// <param name="StandardError">Width of the interval / (2 × 1.959964); null without an interval.</param>
/// <param name="Pairs">Number of pairs with different x.</param>
public sealed record TheilSenLine(double Slope, double Intercept, double? Low, double? High, double? StandardError, int Pairs);

/// <summary>Theil-Sen slope with the distribution-free interval of Hollander and Wolfe.</summary>
public static class TheilSen
{
    /// <summary>
    /// The line of points in any order. The interval takes, of the k sorted slopes, the m-th from below and from above,
    /// with m = floor((k − z·√(k(2n + 5)/9)) / 2) and z = 1.959964; below m = 1 there is none.
    /// </summary>
    /// <param name="x">Places, for instance days; finite.</param>
    /// <param name="y">Values, as many; finite.</param>
    /// <returns>The line, or null when no two x differ.</returns>
    /// <exception cref="UnfitInputException">Lengths differ, or a number is not finite.</exception>
    public static TheilSenLine? Fit(IReadOnlyList<double> x, IReadOnlyList<double> y)
    {
        Series.Check(x, y);
        var n = x.Count;
        var slopes = new List<double>(n * (n - 1) / 2);
        for (var i = 0; i < n; i++)
            for (var j = i + 1; j < n; j++)
                if (x[i] != x[j])
                    slopes.Add((y[j] - y[i]) / (x[j] - x[i]));
        if (slopes.Count == 0)
            return null;
        var sorted = slopes.ToArray();
        Array.Sort(sorted);
        var slope = SortedArrayStatistics.Median(sorted);
        var intercept = Enumerable.Range(0, n).Select(i => y[i] - slope * x[i]).Median();
        var z = Normal.InvCDF(0, 1, 0.975);
        var k = sorted.Length;
        var fromBelow = (int)Math.Floor((k - z * Math.Sqrt(k * (2.0 * n + 5) / 9)) / 2);
        if (fromBelow < 1)
            return new(slope, intercept, null, null, null, k);
        var (low, high) = (sorted[fromBelow - 1], sorted[k - fromBelow]);
        return new(slope, intercept, low, high, (high - low) / (2 * z), k);
    }
}

/// <summary>What every series must hold.</summary>
internal static class Series
{
    public static void Check(IReadOnlyList<double> x, IReadOnlyList<double> y)
    {
        ArgumentNullException.ThrowIfNull(x);
        ArgumentNullException.ThrowIfNull(y);
        if (x.Count != y.Count)
            throw new UnfitInputException("y", $"{y.Count} values", $"{x.Count} values, one for each x", "give pairs");
        if (x.Concat(y).FirstOrDefault(v => !double.IsFinite(v), 0) is var bad && !double.IsFinite(bad))
            throw new UnfitInputException("value", $"{bad}", "a finite number", "leave out what was not measured");
    }
}
