namespace RehabRecords.Clinical;

/// <summary>One value at one time.</summary>
/// <param name="At">When it was measured.</param>
/// <param name="Value">The value.</param>
/// <param name="Evidence">The caller's address of it.</param>
public sealed record TrendPoint(DateTimeOffset At, double Value, string Evidence);

/// <summary>What can be said of a series.</summary>
public enum TrendVerdict
{
    /// <summary>Fewer than five points: no test can reach 5 %, so none is reported.</summary>
    TooFewPoints,

    /// <summary>Monotonic trend towards better (p below 0.05).</summary>
    Improving,

    /// <summary>Monotonic trend towards worse (p below 0.05).</summary>
    Worsening,

    /// <summary>A trend in a series that has no better direction (p below 0.05).</summary>
    Changing,

    /// <summary>No monotonic trend shown.</summary>
    NoTrendShown,
}

/// <summary>Which way a value gets better.</summary>
public enum Direction
{
    /// <summary>Higher is better.</summary>
    HigherIsBetter,

    /// <summary>Lower is better.</summary>
    LowerIsBetter,

    /// <summary>Neither: an intensity.</summary>
    Neither,
}

/// <summary>
/// A descriptive trend: Theil-Sen slope over real days with its confidence interval, and the Mann-Kendall test.
/// Practice effects and serial dependence break the test, so it describes and never proves.
/// </summary>
/// <param name="Count">Number of points.</param>
/// <param name="SlopePerWeek">Change per 7 days; null with fewer than 2 distinct times.</param>
/// <param name="LowPerWeek">Lower end of the 95 % interval, per 7 days; null when too few points.</param>
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
    /// <summary>The trend of a series in any order.</summary>
    /// <param name="points">Finite values; points at the same instant are allowed.</param>
    /// <param name="direction">Which way is better.</param>
    /// <param name="unit">Unit for the text, as a person reads it ("s", "kg", "points").</param>
    public static Trend Of(IReadOnlyList<TrendPoint> points, Direction direction, string unit) => throw new NotImplementedException();
}
