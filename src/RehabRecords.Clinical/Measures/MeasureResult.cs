namespace RehabRecords.Clinical;

/// <summary>What became of a test; kept apart from the value.</summary>
public enum MeasureStatus
{
    /// <summary>Completed: there is a value.</summary>
    Completed,

    /// <summary>Stopped at the time limit: the limit is not a value.</summary>
    StoppedAtLimit,

    /// <summary>Tried and could not do it.</summary>
    Unable,

    /// <summary>Not attempted.</summary>
    NotAttempted,

    /// <summary>Refused.</summary>
    Refused,

    /// <summary>Not applicable or not testable.</summary>
    NotApplicable,

    /// <summary>Trial invalid.</summary>
    InvalidTrial,
}

/// <summary>One result of a measure.</summary>
/// <param name="Measure">Id of the measure in the catalogue.</param>
/// <param name="MeasuredAt">When it was measured, with the offset of the place.</param>
/// <param name="Status">What became of the test.</param>
/// <param name="Value">Value in the measure's unit; only with <see cref="MeasureStatus.Completed"/>.</param>
/// <param name="Side">Side tested, for measures taken per side.</param>
/// <param name="Evidence">The caller's address of the result.</param>
public sealed record MeasureResult(string Measure, DateTimeOffset MeasuredAt, MeasureStatus Status, decimal? Value, Side? Side, string Evidence)
{
    /// <summary>UCUM unit as recorded; null takes the measure's own.</summary>
    public string? Unit { get; init; }

    /// <summary>Trial values, in order.</summary>
    public IReadOnlyList<decimal> Trials { get; init; } = [];

    /// <summary>Limit in force, seconds, when one was.</summary>
    public decimal? TimeLimitSeconds { get; init; }

    /// <summary>Pegs placed when stopped, 0 to 9.</summary>
    public int? PegsPlaced { get; init; }

    /// <summary>Grade of a coded measure ("1+"), instead of a value.</summary>
    public string? Grade { get; init; }

    /// <summary>Version or variant of the procedure; results of different variants are not compared.</summary>
    public string? Variant { get; init; }

    /// <summary>What exactly was tested where the measure leaves it open, such as the muscle group; only like is compared with like.</summary>
    public string? Site { get; init; }

    /// <summary>Address of the total this is a part of, such as a subscale of a test; null for a result of its own.</summary>
    public string? PartOf { get; init; }
}
