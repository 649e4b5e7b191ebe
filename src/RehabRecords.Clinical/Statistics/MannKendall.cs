using MathNet.Numerics.Distributions;

namespace RehabRecords.Clinical;

/// <summary>A Mann-Kendall test.</summary>
/// <param name="N">Number of points.</param>
/// <param name="S">Pairs that rise minus pairs that fall.</param>
/// <param name="Variance">Variance of S without a trend, corrected for ties.</param>
/// <param name="Z">(S ∓ 1) / √Variance; 0 when S is 0 or the variance is.</param>
/// <param name="P">Two-sided p.</param>
/// <param name="Exact">Whether p is exact (n to 10, all times different) or by the normal approximation.</param>
public sealed record MannKendallTest(int N, int S, double Variance, double Z, double P, bool Exact);

/// <summary>
/// Mann-Kendall test for a monotonic trend. Exact to n = 10 (the convention of Gilbert 1987), the normal approximation
/// with continuity correction beyond. Practice effects and serial dependence break it: it describes.
/// </summary>
public static class MannKendall
{
    /// <summary>Most points for which p is exact.</summary>
    public const int ExactUpTo = 10;

    /// <summary>Tests points in any order.</summary>
    /// <param name="x">Times; finite.</param>
    /// <param name="y">Values, as many; finite.</param>
    /// <exception cref="UnfitInputException">Lengths differ, or a number is not finite.</exception>
    public static MannKendallTest Of(IReadOnlyList<double> x, IReadOnlyList<double> y)
    {
        Series.Check(x, y);
        var n = x.Count;
        var s = 0;
        for (var i = 0; i < n; i++)
            for (var j = i + 1; j < n; j++)
                s += Math.Sign(x[j] - x[i]) * Math.Sign(y[j] - y[i]);
        var (tiesX, tiesY) = (TieSizes(x), TieSizes(y));
        var variance = VarianceOf(n, tiesX, tiesY);
        var z = variance <= 0 ? 0 : (s - Math.Sign(s)) / Math.Sqrt(variance);
        var exact = n <= ExactUpTo && tiesX.All(t => t == 1);
        var p = exact ? ExactP(n, s, tiesY) : Math.Min(1, 2 * Normal.CDF(0, 1, -Math.Abs(z)));
        return new(n, s, variance, z, p, exact);
    }

    // Kendall's variance with ties on both sides; without ties in time it is [n(n-1)(2n+5) - sum t(t-1)(2t+5)]/18.
    private static double VarianceOf(int n, IReadOnlyList<int> tiesX, IReadOnlyList<int> tiesY)
    {
        if (n < 2)
            return 0;
        static double Sum(IReadOnlyList<int> ties, Func<double, double> term) => ties.Sum(t => term(t));
        double m = n;
        var first = (m * (m - 1) * (2 * m + 5) - Sum(tiesX, t => t * (t - 1) * (2 * t + 5)) - Sum(tiesY, t => t * (t - 1) * (2 * t + 5))) / 18;
        var pairs = Sum(tiesX, t => t * (t - 1)) * Sum(tiesY, t => t * (t - 1)) / (2 * m * (m - 1));
        var triples = n < 3 ? 0 : Sum(tiesX, t => t * (t - 1) * (t - 2)) * Sum(tiesY, t => t * (t - 1) * (t - 2)) / (9 * m * (m - 1) * (m - 2));
        return first + pairs + triples;
    }

    /// <summary>
    /// Exact two-sided p: the share of all orders of the values whose |S| is at least as large. The number of falling
    /// pairs of an order of values with ties has the Gaussian multinomial as generating function, so the counts are
    /// products of polynomials and no order needs to be listed.
    /// </summary>
    private static double ExactP(int n, int s, IReadOnlyList<int> ties)
    {
        var counts = new[] { 1.0 };
        var placed = 0;
        foreach (var size in ties)
        {
            placed += size;
            counts = Multiply(counts, GaussianBinomial(placed, size));
        }
        // A pair of equal values neither rises nor falls: S = untied pairs - 2 × falling pairs.
        var untied = n * (n - 1) / 2 - ties.Sum(t => t * (t - 1) / 2);
        double asExtreme = 0;
        for (var falling = 0; falling < counts.Length; falling++)
            if (Math.Abs(untied - 2 * falling) >= Math.Abs(s))
                asExtreme += counts[falling];
        return asExtreme / counts.Sum();
    }

    // [a choose b] by Pascal's rule for Gaussian binomials: [a, b] = [a-1, b-1] + q^b [a-1, b]. Exact in doubles to a = 10.
    private static double[] GaussianBinomial(int a, int b)
    {
        if (b == 0 || b == a)
            return [1];
        var with = GaussianBinomial(a - 1, b - 1);
        var without = GaussianBinomial(a - 1, b);
        var sum = new double[b * (a - b) + 1];
        for (var i = 0; i < with.Length; i++)
            sum[i] += with[i];
        for (var i = 0; i < without.Length; i++)
            sum[i + b] += without[i];
        return sum;
    }

    private static double[] Multiply(double[] left, double[] right)
    {
        var product = new double[left.Length + right.Length - 1];
        for (var i = 0; i < left.Length; i++)
            for (var j = 0; j < right.Length; j++)
                product[i + j] += left[i] * right[j];
        return product;
    }

    private static List<int> TieSizes(IReadOnlyList<double> values) => [.. values.GroupBy(v => v).Select(g => g.Count())];
}
