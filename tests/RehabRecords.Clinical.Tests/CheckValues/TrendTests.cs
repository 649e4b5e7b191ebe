namespace RehabRecords.Clinical.Tests;

public class TrendTests
{
    private static readonly double[] HolyCross = [12.9, 14.8, 13.2, 15.7, 13.8, 15.6, 12.9, 11.0, 17.3, 15.9, 19.0, 18.3, 20.1, 21.7];
    private static readonly DateTimeOffset Start = new(2026, 1, 5, 10, 0, 0, TimeSpan.Zero);

    [Fact(DisplayName = "published: Holy Cross worked Mann-Kendall example, S 54, variance 332.6667, Z 2.9058, one-sided p .0018")]
    public void Mann_kendall_worked_by_hand()
    {
        var test = MannKendall.Of(Visits(14), HolyCross);
        Assert.Equal(54, test.S);
        Assert.Equal(332.6667, test.Variance, 4);
        Assert.Equal(2.9058, test.Z, 4);
        Assert.Equal(0.0018, test.P / 2, 4);
        Assert.Equal(0.00366, test.P, 5);
        Assert.False(test.Exact);
    }

    [Fact(DisplayName = "computed: Theil-Sen slope of the same series is 0.56667 a visit")]
    public void Slope_of_the_same_series() => Assert.Equal(0.56667, TheilSen.Fit(Visits(14), HolyCross)!.Slope, 5);

    [Theory]
    [InlineData(3, 3, 0.3333)]
    [InlineData(4, 6, 0.0833)]
    [InlineData(5, 10, 0.0167)]
    [InlineData(5, 8, 0.0833)]
    [InlineData(6, 15, 0.0028)]
    [InlineData(6, 13, 0.0167)]
    [InlineData(6, 11, 0.0556)]
    [InlineData(7, 15, 0.0302)]
    [InlineData(7, 13, 0.0690)]
    [InlineData(8, 18, 0.0312)]
    [InlineData(8, 16, 0.0610)]
    public void Exact_p_of_small_series_computed(int n, int s, double p)
    {
        var rising = MannKendall.Of(Visits(n), WithS(n, s));
        Assert.True(rising.Exact);
        Assert.Equal(s, rising.S);
        Assert.Equal(p, rising.P, 4);
        Assert.Equal(rising.P, MannKendall.Of(Visits(n), [.. WithS(n, s).Select(y => -y)]).P, 12);
    }

    [Fact(DisplayName = "published: statpsych documentation, Theil-Sen 0.5, SE 0.1085927, interval 0.3243243 to 0.75")]
    public void Theil_sen_with_interval()
    {
        var line = TheilSen.Fit(
            [67, 28, 30, 28, 52, 40, 25, 37, 44, 10, 14, 20, 28, 40, 51],
            [21, 4, 9, 12, 35, 18, 10, 22, 24, 1, 6, 8, 13, 16, 19])!;
        Assert.Equal(0.5, line.Slope, 12);
        Assert.Equal(0.3243243, line.Low!.Value, 7);
        Assert.Equal(0.75, line.High!.Value, 12);
        Assert.Equal(0.1085927, line.StandardError!.Value, 7);
        Assert.Equal(101, line.Pairs);
    }

    [Fact(DisplayName = "computed on published data: x 1 to 6, y 2 3 5 4 6 8 has slope 1.0 and intercept 1.0")]
    public void Theil_sen_of_six()
    {
        var line = TheilSen.Fit(Visits(6), [2, 3, 5, 4, 6, 8])!;
        Assert.Equal((1.0, 1.0), (line.Slope, line.Intercept));
    }

    [Fact(DisplayName = "computed: the intercept is the median of y - slope x (1.45833), not the form with two medians (1.875)")]
    public void Which_intercept()
    {
        var line = TheilSen.Fit(Visits(5), [2, 4, 5, 4, 5])!;
        Assert.Equal(0.70833, line.Slope, 5);
        Assert.Equal(1.45833, line.Intercept, 5);
    }

    [Fact(DisplayName = "computed: six peg tests fall 1.5 s a week, S -13, exact p .0167; yet 15 s is below the published 32.8 s")]
    public void Trend_and_detectable_change_can_disagree()
    {
        double[] seconds = [62, 58.5, 55, 56, 49.5, 47];
        var trend = Trend.Of([.. seconds.Select((s, i) => new TrendPoint(Start.AddDays(14 * i), s, $"r{i}"))], Direction.LowerIsBetter, "s");
        Assert.Equal(-1.5, trend.SlopePerWeek!.Value, 9);
        Assert.Equal(-0.214286, trend.SlopePerWeek.Value / 7, 6);
        Assert.Equal(-13, trend.S);
        Assert.Equal(0.0167, trend.P!.Value, 4);
        Assert.Equal(TrendVerdict.Improving, trend.Verdict);
        Assert.Equal(["r0", "r1", "r2", "r3", "r4", "r5"], trend.Evidence);
        Assert.Contains("Consistent change towards better: -1.50 s a week (95 % interval", trend.Text);
        Assert.Contains("p 0.017, 6 points; descriptive only.", trend.Text);

        var change = MeasureChange.Between(MeasureCatalogue.Default.Get("nine-hole-peg"), Peg(Start, 62), Peg(Start.AddDays(70), 47), new PersonContext(Side.Left));
        Assert.Equal(ChangeClass.BelowDetectable, change.Class);

        static MeasureResult Peg(DateTimeOffset at, decimal s) => new("nine-hole-peg", at, MeasureStatus.Completed, s, Side.Left, $"{s}");
    }

    [Fact(DisplayName = "computed: four points strictly rising have an exact p of .0833, so fewer than five are too few")]
    public void Four_points_are_too_few()
    {
        var trend = Trend.Of([.. Enumerable.Range(0, 4).Select(i => new TrendPoint(Start.AddDays(i), i, "e"))], Direction.HigherIsBetter, "kg");
        Assert.Equal(TrendVerdict.TooFewPoints, trend.Verdict);
        Assert.Equal((null, null, null), (trend.P, trend.LowPerWeek, trend.HighPerWeek));
        Assert.Equal(6, trend.S);
        Assert.Equal("Too few points for a trend test (4; at least 5 are needed).", trend.Text);
    }

    [Theory]
    [InlineData(Direction.HigherIsBetter, 1, TrendVerdict.Improving)]
    [InlineData(Direction.HigherIsBetter, -1, TrendVerdict.Worsening)]
    [InlineData(Direction.LowerIsBetter, 1, TrendVerdict.Worsening)]
    [InlineData(Direction.LowerIsBetter, -1, TrendVerdict.Improving)]
    [InlineData(Direction.Neither, 1, TrendVerdict.Changing)]
    [InlineData(Direction.HigherIsBetter, 0, TrendVerdict.NoTrendShown)]
    public void Verdict_follows_the_direction_that_is_better(Direction better, int sign, TrendVerdict verdict)
    {
        var trend = Trend.Of([.. Enumerable.Range(0, 5).Select(i => new TrendPoint(Start.AddDays(i), sign * i, "e"))], better, "s");
        Assert.Equal(verdict, trend.Verdict);
        Assert.Equal(7.0 * sign, trend.SlopePerWeek!.Value, 9);
        Assert.Contains(verdict switch
        {
            TrendVerdict.Improving => "towards better",
            TrendVerdict.Worsening => "towards worse",
            TrendVerdict.Changing => "Consistent change:",
            _ => "No consistent trend shown: 0.00 s a week",
        }, trend.Text);
    }

    [Fact]
    public void A_series_that_rose_once_and_then_stayed_has_no_slope_and_so_no_trend()
    {
        // Short at first, then the full amount seven times: S is large by its ties, the middle slope is 0.
        double[] values = [12, 13, 15, 15, 15, 15, 15, 15, 15];
        var trend = Trend.Of([.. values.Select((v, i) => new TrendPoint(Start.AddDays(i), v, "e"))], Direction.HigherIsBetter, "repetitions");
        Assert.True(trend.P < Trend.Alpha);
        Assert.Equal(0, trend.SlopePerWeek);
        Assert.Equal(TrendVerdict.NoTrendShown, trend.Verdict);
    }

    [Fact]
    public void Points_at_one_time_have_no_slope()
    {
        var trend = Trend.Of([.. Enumerable.Range(0, 5).Select(i => new TrendPoint(Start, i, "e"))], Direction.HigherIsBetter, "s");
        Assert.Null(trend.SlopePerWeek);
        Assert.Equal(TrendVerdict.NoTrendShown, trend.Verdict);
        Assert.Contains("no slope, all at one time", trend.Text);
        Assert.Null(TheilSen.Fit([1, 1], [1, 2]));
        Assert.Null(TheilSen.Fit([], []));
    }

    [Fact]
    public void Uneven_intervals_count_in_days()
    {
        // Equal steps at visits 1, 2, 3, but at days 0, 7 and 28: by visit the slope would be 7 a week.
        var trend = Trend.Of([new(Start, 0, "a"), new(Start.AddDays(7), 7, "b"), new(Start.AddDays(28), 14, "c")], Direction.HigherIsBetter, "s");
        Assert.Equal(3.5, trend.SlopePerWeek!.Value, 9);
    }

    [Fact]
    public void Five_points_have_no_interval_and_six_have()
    {
        Assert.Null(TheilSen.Fit(Visits(5), [1, 2, 3, 4, 6])!.Low);
        Assert.NotNull(TheilSen.Fit(Visits(6), [1, 2, 3, 4, 6, 7])!.Low);
    }

    [Theory]
    [InlineData(double.NaN)]
    [InlineData(double.PositiveInfinity)]
    public void Numbers_that_are_not_finite_are_refused(double bad)
    {
        Assert.Throws<UnfitInputException>(() => TheilSen.Fit([1, 2], [1, bad]));
        Assert.Throws<UnfitInputException>(() => MannKendall.Of([1, bad], [1, 2]));
        Assert.Throws<UnfitInputException>(() => MannKendall.Of([1, 2], [1]));
    }

    [Fact]
    public void Degenerate_series_have_no_trend()
    {
        Assert.Equal((0, 0, 1), (MannKendall.Of([], []).S, MannKendall.Of([1], [1]).S, MannKendall.Of([1], [1]).P));
        var flat = MannKendall.Of(Visits(12), [.. Enumerable.Repeat(3.0, 12)]);
        Assert.Equal((0, 0.0, 1.0), (flat.S, flat.Z, flat.P));
    }

    [Fact]
    public void Ten_points_are_exact_and_eleven_are_not()
    {
        Assert.True(MannKendall.Of(Visits(10), Visits(10)).Exact);
        Assert.False(MannKendall.Of(Visits(11), Visits(11)).Exact);
    }

    private static double[] Visits(int n) => [.. Enumerable.Range(1, n).Select(i => (double)i)];

    /// <summary>A series with a given S: values in order, with as many neighbour swaps as falling pairs are needed.</summary>
    private static double[] WithS(int n, int s)
    {
        var y = Visits(n);
        for (var falling = (n * (n - 1) / 2 - s) / 2; falling > 0; falling--)
        {
            var at = Enumerable.Range(0, n - 1).First(i => y[i] < y[i + 1]);
            (y[at], y[at + 1]) = (y[at + 1], y[at]);
        }
        return y;
    }
}
