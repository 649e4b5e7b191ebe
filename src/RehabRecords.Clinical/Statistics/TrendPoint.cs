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
