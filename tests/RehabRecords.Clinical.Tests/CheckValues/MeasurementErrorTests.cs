namespace RehabRecords.Clinical.Tests;

public class MeasurementErrorTests
{
    [Theory]
    [InlineData(1.16, 3.215, 3.2, 0.05, "published: Alghadir 2018 BMC Neurol 18:141, Timed Up and Go")]
    [InlineData(0.98, 2.716, 2.7, 0.05, "published: Alghadir 2018 BMC Neurol 18:141, Berg")]
    [InlineData(0.71, 1.968, 1.9, 0.1, "published: Alghadir 2018 BMC Neurol 18:141, gait index; the paper cuts off")]
    [InlineData(2.46, 6.819, 6.82, 0.005, "published: 2023 doi 10.1177/15459683231186985, Fugl-Meyer")]
    [InlineData(0.50, 1.386, 1.39, 0.005, "published: Health Qual Life Outcomes 2015 13:91, fatigue")]
    public void Standard_error_gives_the_published_detectable_change(double sem, double computed, double published, double within, string source)
    {
        Assert.Equal(computed, MeasurementError.DetectableChange(sem), 0.0006);
        Assert.True(Math.Abs(MeasurementError.DetectableChange(sem) - published) <= within, source);
    }

    [Theory]
    [InlineData(1.76, 5, "published: Beckerman 1996, Fugl-Meyer leg, change below 5 is stable")]
    [InlineData(1.17, 4, "published: Beckerman 1996, Fugl-Meyer balance, change below 4 is stable")]
    public void Detectable_change_rounds_up_to_the_published_whole_points(double sem, int points, string source) =>
        Assert.True(points == (int)Math.Ceiling(MeasurementError.DetectableChange(sem)), source);

    [Fact(DisplayName = "computed: SD 10 and ICC 0.90 give SEM 3.1623, MDC95 8.7654, MDC90 7.3567")]
    public void Reliability_gives_error_and_both_levels()
    {
        var sem = MeasurementError.StandardError(10, 0.90);
        Assert.Equal(3.1623, sem, 4);
        Assert.Equal(8.7654, MeasurementError.DetectableChange(sem), 4);
        Assert.Equal(7.3567, MeasurementError.DetectableChange(sem, 90), 4);
    }

    [Fact(DisplayName = "computed from published: Lin 2009 MDC90 4.36 s gives SEM 1.874 and MDC95 5.195")]
    public void A_threshold_at_90_is_turned_to_95()
    {
        var sem = MeasurementError.StandardErrorOf(4.36, 90);
        Assert.Equal(1.874, sem, 3);
        Assert.Equal(5.195, MeasurementError.DetectableChange(sem), 3);
    }

    [Theory]
    [InlineData(-0.70, 0.85, 0.075, 0.775, 0.2796, "published: van der Lee 2004 Stroke 35:1410-1414, amount of use")]
    [InlineData(-0.61, 0.71, 0.05, 0.66, 0.2381, "published: van der Lee 2004 Stroke 35:1410-1414, quality of movement")]
    [InlineData(-5.7, 6.2, 0.25, 5.95, 2.1466, "published: van der Lee 2001 J Rehabil Med 33:110-113, ARAT")]
    [InlineData(-5.0, 6.6, 0.80, 5.80, 2.0925, "published: van der Lee 2001 J Rehabil Med 33:110-113, Fugl-Meyer")]
    public void Limits_of_agreement_hold_bias_and_error(double low, double high, double bias, double mdc, double sem, string source)
    {
        var read = MeasurementError.FromLimitsOfAgreement(low, high);
        Assert.True(Math.Abs(read.Bias - bias) < 1e-9 && Math.Abs(read.DetectableChange - mdc) < 1e-9, source);
        Assert.Equal(sem, read.StandardError, 4);
        Assert.Equal(read.DetectableChange, MeasurementError.DetectableChange(read.StandardError), 9);
    }

    [Theory]
    [InlineData(1.16, 0.98, 8.20, "computed: Timed Up and Go of Alghadir 2018")]
    [InlineData(0.98, 0.99, 9.80, "computed: Berg of Alghadir 2018")]
    public void The_deviation_behind_a_published_error(double sem, double icc, double sd, string source) =>
        Assert.True(Math.Abs(MeasurementError.StandardError(sd, icc) - sem) < 0.005, source);

    [Fact(DisplayName = "from memory: Jacobson and Truax 1991, 47.5 to 32.5 with SD 7.5 and r 0.80 has an index of -3.16")]
    public void Reliable_change_of_the_paper() => Assert.Equal(-3.162, MeasurementError.ReliableChangeIndex(47.5, 32.5, 7.5, 0.80)!.Value, 3);

    [Fact(DisplayName = "computed: SD 10 and r 0.88 make 9.60 the reliable change")]
    public void Reliable_change_of_a_second_deviation()
    {
        var beyond = 1.96 * Math.Sqrt(2) * MeasurementError.StandardError(10, 0.88);
        Assert.Equal(9.60, beyond, 2);
        Assert.True(Math.Abs(MeasurementError.ReliableChangeIndex(0, beyond + 0.001, 10, 0.88)!.Value) > 1.96);
        Assert.False(Math.Abs(MeasurementError.ReliableChangeIndex(0, beyond - 0.001, 10, 0.88)!.Value) > 1.96);
    }

    [Theory]
    [InlineData(-0.01, "icc is -0.01")]
    [InlineData(1.01, "icc is 1.01")]
    [InlineData(double.NaN, "icc is NaN")]
    public void Reliability_outside_0_to_1_is_refused(double icc, string said) =>
        Assert.Contains(said, Assert.Throws<UnfitInputException>(() => MeasurementError.StandardError(1, icc)).Message);

    [Theory]
    [InlineData(-1)]
    [InlineData(double.PositiveInfinity)]
    [InlineData(double.NaN)]
    public void A_deviation_below_0_or_not_finite_is_refused(double sd)
    {
        Assert.Equal("sd", Assert.Throws<UnfitInputException>(() => MeasurementError.StandardError(sd, 0.9)).Problem.Element);
        Assert.Equal("standardError", Assert.Throws<UnfitInputException>(() => MeasurementError.DetectableChange(sd)).Problem.Element);
        Assert.Equal("detectableChange", Assert.Throws<UnfitInputException>(() => MeasurementError.StandardErrorOf(sd)).Problem.Element);
    }

    [Fact]
    public void Perfect_reliability_has_no_error_and_no_index()
    {
        Assert.Equal(0, MeasurementError.StandardError(10, 1));
        Assert.Null(MeasurementError.ReliableChangeIndex(1, 2, 10, 1));
        Assert.Null(MeasurementError.ReliableChangeIndex(1, 2, 0, 0.5));
    }

    [Theory]
    [InlineData(80)]
    [InlineData(99)]
    public void Other_levels_are_refused(int level) =>
        Assert.Contains("90 or 95", Assert.Throws<UnfitInputException>(() => MeasurementError.DetectableChange(1, level)).Message);

    [Fact]
    public void Limits_in_the_wrong_order_are_refused() =>
        Assert.Throws<UnfitInputException>(() => MeasurementError.FromLimitsOfAgreement(1, 0.9));

    [Theory]
    [InlineData(double.NaN, 1)]
    [InlineData(0, double.PositiveInfinity)]
    public void Limits_that_are_no_numbers_are_refused(double low, double high) =>
        Assert.Throws<UnfitInputException>(() => MeasurementError.FromLimitsOfAgreement(low, high));
}
