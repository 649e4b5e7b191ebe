using CsCheck;

namespace RehabRecords.Clinical.Tests;

/// <summary>An oracle that shares nothing with the code under test: every order of the values is listed and counted.</summary>
public class EnumerationTests
{
    [Fact]
    public void Exact_p_is_the_share_of_all_orders_at_least_as_extreme_ties_included() =>
        Gen.Int[0, 4].Array[2, 7].Sample(values =>
        {
            var observed = Score(values);
            var (extreme, all) = (0, 0);
            foreach (var order in Orders(values, 0))
            {
                all++;
                if (Math.Abs(Score(order)) >= Math.Abs(observed))
                    extreme++;
            }
            var test = MannKendall.Of(Visits(values.Length), [.. values.Select(v => (double)v)]);
            return test.Exact && test.S == observed && Math.Abs(test.P - (double)extreme / all) < 1e-12;
        }, iter: 60);

    [Fact]
    public void The_variance_is_that_of_all_orders_ties_included() =>
        Gen.Int[0, 3].Array[3, 7].Sample(values =>
        {
            var test = MannKendall.Of(Visits(values.Length), [.. values.Select(v => (double)v)]);
            return Math.Abs(test.Variance - Orders(values, 0).Average(order => (double)Score(order) * Score(order))) < 1e-9;
        }, iter: 60);

    [Fact]
    public void With_ties_in_time_as_well_the_variance_is_that_of_all_orders() =>
        Gen.Select(Gen.Int[0, 2].Array[6], Gen.Int[0, 2].Array[6]).Sample((x, y) =>
        {
            var test = MannKendall.Of([.. x.Select(v => (double)v)], [.. y.Select(v => (double)v)]);
            return Math.Abs(test.Variance - Orders(y, 0).Average(order => (double)Score(x, order) * Score(x, order))) < 1e-9
                && (!test.Exact || x.Distinct().Count() == x.Length);
        }, iter: 60);

    [Fact]
    public void The_slope_leaves_no_more_than_half_of_all_pairs_on_either_side() =>
        Gen.Int[-50, 50].Array[3, 12].Sample(values =>
        {
            double[] x = [.. Visits(values.Length).Select(v => v * v)], y = [.. values.Select(v => (double)v)];
            var slope = TheilSen.Fit(x, y)!.Slope;
            var (above, below) = (0, 0);
            for (var i = 0; i < x.Length; i++)
                for (var j = 0; j < i; j++)
                {
                    var rest = y[i] - y[j] - slope * (x[i] - x[j]);
                    above += rest > 1e-9 ? 1 : 0;
                    below += rest < -1e-9 ? 1 : 0;
                }
            var half = x.Length * (x.Length - 1) / 4.0;
            return above <= half && below <= half;
        });

    private static double[] Visits(int n) => [.. Enumerable.Range(0, n).Select(i => (double)i)];

    private static int Score(int[] values) => Score([.. Enumerable.Range(0, values.Length)], values);

    private static int Score(int[] x, int[] y)
    {
        var s = 0;
        for (var i = 0; i < y.Length; i++)
            for (var j = 0; j < i; j++)
                s += x[i].CompareTo(x[j]) * y[i].CompareTo(y[j]);
        return s;
    }

    private static IEnumerable<int[]> Orders(int[] values, int from)
    {
        if (from == values.Length)
            yield return values;
        for (var i = from; i < values.Length; i++)
        {
            int[] next = [.. values];
            (next[from], next[i]) = (next[i], next[from]);
            foreach (var order in Orders(next, from + 1))
                yield return order;
        }
    }
}
