namespace RehabRecords.Clinical;

/// <summary>Unit of a schedule's period.</summary>
public enum PeriodUnit
{
    /// <summary>Days.</summary>
    Day,

    /// <summary>Weeks of seven days, counted from the schedule's start.</summary>
    Week,
}

/// <summary>Days on which nothing is due because a clinician paused the programme.</summary>
/// <param name="From">First paused day.</param>
/// <param name="To">Last paused day, included; null while the pause is open.</param>
/// <param name="Reason">Why.</param>
public sealed record Pause(DateOnly From, DateOnly? To, string? Reason = null)
{
    /// <summary>Whether the pause holds on a day.</summary>
    public bool Covers(DateOnly day) => day >= From && (To is null || day <= To);
}

/// <summary>One due occurrence.</summary>
/// <param name="From">First day on which it may be done.</param>
/// <param name="To">Last day; the same day unless the schedule leaves the day open (say, three times a week).</param>
/// <param name="Time">Time of day in the programme's zone, when one was prescribed.</param>
/// <param name="At">The instant of <paramref name="Time"/>, daylight saving considered; null without a time.</param>
public sealed record DueOccurrence(DateOnly From, DateOnly To, TimeOnly? Time = null, DateTimeOffset? At = null);

/// <summary>When a prescribed exercise is due: the part of a FHIR Timing that a home programme uses.</summary>
/// <param name="Start">First day, included.</param>
/// <param name="TimeZone">IANA zone of the programme; days and times are those of this zone.</param>
public sealed record Schedule(DateOnly Start, string TimeZone)
{
    /// <summary>Last day, included; null while open.</summary>
    public DateOnly? End { get; init; }

    /// <summary>Occurrences in each period; with <see cref="Times"/> their number counts instead.</summary>
    public int Frequency { get; init; } = 1;

    /// <summary>Length of the period.</summary>
    public int Period { get; init; } = 1;

    /// <summary>Unit of the period.</summary>
    public PeriodUnit Unit { get; init; } = PeriodUnit.Day;

    /// <summary>Days of the week it is due on; empty for every day.</summary>
    public IReadOnlyList<DayOfWeek> Days { get; init; } = [];

    /// <summary>Times of day; empty when left open.</summary>
    public IReadOnlyList<TimeOnly> Times { get; init; } = [];

    /// <summary>Total number of occurrences after which it ends; null for no such limit.</summary>
    public int? Count { get; init; }

    /// <summary>Paused days.</summary>
    public IReadOnlyList<Pause> Pauses { get; init; } = [];

    /// <summary>The day of an instant in the programme's zone.</summary>
    public static DateOnly DayOf(DateTimeOffset instant, string timeZone) => throw new NotImplementedException();

    /// <summary>Occurrences due from a day to a day, both included, in order.</summary>
    public IReadOnlyList<DueOccurrence> Due(DateOnly from, DateOnly to) => throw new NotImplementedException();
}
