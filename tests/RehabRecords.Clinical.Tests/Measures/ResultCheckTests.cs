namespace RehabRecords.Clinical.Tests;

public class ResultCheckTests
{
    private static readonly DateTimeOffset At = new(2026, 3, 2, 10, 0, 0, TimeSpan.Zero);

    public static TheoryData<string, MeasureResult> Fit => new()
    {
        { "a time", Result("nine-hole-peg", 32.41m, Side.Left) },
        { "trials without a value", Result("nine-hole-peg", null, Side.Left) with { Trials = [33.4m, 32.2m] } },
        { "stopped at the limit", Result("nine-hole-peg", null, Side.Left, MeasureStatus.StoppedAtLimit) with { TimeLimitSeconds = 100, PegsPlaced = 9 } },
        { "no blocks at all is a count", Result("box-and-block", 0, Side.Right) },
        { "the most blocks", Result("box-and-block", 150, Side.Right) },
        { "pounds of force", Result("grip-strength", 40, Side.Right) with { Unit = "[lbf_av]" } },
        { "refused", Result("arat", null, Side.Right, MeasureStatus.Refused) },
        { "a grade with a plus", Result("modified-ashworth", null, Side.Left) with { Grade = "1+", Site = "wrist flexors" } },
        { "a whole number as grade", Result("modified-rankin", 3, null) },
        { "half points", Result("exertion-0-10", 3.5m, null) },
        { "an attainment below the expected", Result("gas-level", -2, null) },
        { "a fast walk", Result("ten-metre-walk", 1.1m, null) with { Variant = "fast" } },
        { "a time at the limit itself", Result("nine-hole-peg", 100, Side.Left) with { TimeLimitSeconds = 100 } },
    };

    [Theory]
    [MemberData(nameof(Fit))]
    public void What_may_be_recorded(string why, MeasureResult result)
    {
        var problems = MeasureCatalogue.Default.Check(result);
        Assert.True(problems.Count == 0, $"{why}: {string.Join(" ", problems.Select(p => p.Message))}");
    }

    public static TheoryData<string, string, MeasureResult> Unfit => new()
    {
        { "measure", "unknown", Result("guess", 1, null) },
        { "side", "no side", Result("nine-hole-peg", 30, null) },
        { "side", "both hands at once", Result("nine-hole-peg", 30, Side.Both) },
        { "side", "a side of the whole person", Result("berg-balance", 30, Side.Left) },
        { "value", "a time of 0", Result("nine-hole-peg", 0, Side.Left) },
        { "value", "below the range", Result("box-and-block", -1, Side.Left) },
        { "value", "above the range", Result("box-and-block", 151, Side.Left) },
        { "value", "off the step", Result("box-and-block", 20.5m, Side.Left) },
        { "value", "a limit stored as a time", Result("nine-hole-peg", 100, Side.Left, MeasureStatus.StoppedAtLimit) with { TimeLimitSeconds = 100 } },
        { "value", "neither value nor trials", Result("arat", null, Side.Left) },
        { "value", "a time beyond the limit in force", Result("nine-hole-peg", 101, Side.Left) with { TimeLimitSeconds = 100 } },
        { "value", "pounds beyond any hand", Result("grip-strength", 300, Side.Left) with { Unit = "[lbf_av]" } },
        { "timeLimitSeconds", "stopped without a limit", Result("nine-hole-peg", null, Side.Left, MeasureStatus.StoppedAtLimit) },
        { "timeLimitSeconds", "a limit of 0", Result("nine-hole-peg", 30, Side.Left) with { TimeLimitSeconds = 0 } },
        { "timeLimitSeconds", "a limit over an hour", Result("nine-hole-peg", 30, Side.Left) with { TimeLimitSeconds = 3601 } },
        { "pegsPlaced", "ten pegs", Result("nine-hole-peg", null, Side.Left, MeasureStatus.StoppedAtLimit) with { TimeLimitSeconds = 100, PegsPlaced = 10 } },
        { "pegsPlaced", "pegs elsewhere", Result("arat", 30, Side.Left) with { PegsPlaced = 3 } },
        { "unit", "mass instead of force", Result("grip-strength", 20, Side.Left) with { Unit = "kg" } },
        { "unit", "minutes", Result("nine-hole-peg", 1, Side.Left) with { Unit = "min" } },
        { "trials", "a trial out of range", Result("nine-hole-peg", 30, Side.Left) with { Trials = [30, -1] } },
        { "grade", "a grade that does not exist", Result("modified-ashworth", null, Side.Left) with { Grade = "1.5" } },
        { "grade", "no grade", Result("modified-ashworth", null, Side.Left) },
        { "grade", "a grade though refused", Result("modified-ashworth", null, Side.Left, MeasureStatus.Refused) with { Grade = "1" } },
        { "grade", "a grade for a measure with a value", Result("arat", 30, Side.Left) with { Grade = "3" } },
        { "status", "no limit in this test", Result("arat", null, Side.Left, MeasureStatus.StoppedAtLimit) with { TimeLimitSeconds = 60 } },
        { "variant", "a version unheard of", Result("ten-metre-walk", 1, null) with { Variant = "uphill" } },
        { "value", "exertion of the other scale", Result("exertion-6-20", 5, null) },
        { "value", "exertion of the other scale", Result("exertion-0-10", 13, null) },
        { "value", "a Barthel total of the other version", Result("barthel-20", 65, null) },
    };

    [Theory]
    [MemberData(nameof(Unfit))]
    public void What_is_refused_and_the_element_named(string element, string why, MeasureResult result)
    {
        var problems = MeasureCatalogue.Default.Check(result);
        Assert.True(problems.Any(p => p.Element == element), $"{why}: {string.Join(" ", problems.Select(p => p.Message))}");
        Assert.All(problems, p => Assert.EndsWith(".", p.Message));
    }

    [Theory]
    [InlineData("nine-hole-peg", new[] { 33.4, 32.2 }, 32.8)]
    [InlineData("grip-strength", new[] { 10.0, 11.0, 15.0 }, 12.0)]
    [InlineData("wolf-time", new[] { 9.0, 2.0, 4.0 }, 4.0)]
    [InlineData("wolf-time", new[] { 9.0, 2.0, 4.0, 6.0 }, 5.0)]
    [InlineData("arat", new[] { 30.0, 31.0 }, 31.0)]
    public void Trials_become_a_value_by_the_measures_rule(string measure, double[] trials, double value) =>
        Assert.Equal((decimal)value, MeasureCatalogue.Default.Get(measure).ValueOf(Result(measure, null, Side.Left) with { Trials = [.. trials.Select(t => (decimal)t)] }));

    [Fact]
    public void No_value_without_completion_and_no_unit_of_another_kind()
    {
        var peg = MeasureCatalogue.Default.Get("nine-hole-peg");
        Assert.Null(peg.ValueOf(Result("nine-hole-peg", 100, Side.Left, MeasureStatus.StoppedAtLimit)));
        Assert.Null(peg.ValueOf(Result("nine-hole-peg", null, Side.Left)));
        Assert.Equal("unit", Assert.Throws<UnfitInputException>(() => peg.ValueOf(Result("nine-hole-peg", 1, Side.Left) with { Unit = "min" })).Problem.Element);
    }

    private static MeasureResult Result(string measure, decimal? value, Side? side, MeasureStatus status = MeasureStatus.Completed) =>
        new(measure, At, status, value, side, "e");
}
