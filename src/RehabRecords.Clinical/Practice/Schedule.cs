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
/// <param name="To">Last day on which it may be done; the same day unless the schedule leaves the day open (say, three times a week).</param>
/// <param name="By">Day by which it counts as due when done at an even pace: its slice of the period. The same day for fixed days.</param>
/// <param name="Time">Time of day in the programme's zone, when one was prescribed.</param>
/// <param name="At">The instant of <paramref name="Time"/>, daylight saving considered; null without a time.</param>
public sealed record DueOccurrence(DateOnly From, DateOnly To, DateOnly By, TimeOnly? Time = null, DateTimeOffset? At = null);

/// <summary>
/// When a prescribed exercise is due: the part of a FHIR Timing that a home programme uses. With days of the week, or a
/// period of one day, occurrences have their day; otherwise (three times a week, once in two days) any day of the period
/// will do, and a period cut short by a pause or by the end asks for the slices that remain.
/// </summary>
/// <param name="Start">First day, included; periods are counted from it.</param>
/// <param name="TimeZone">IANA zone of the programme; days and times are those of this zone.</param>
public sealed record Schedule(DateOnly Start, string TimeZone)
{
    /// <summary>Last day, included; null while open.</summary>
    public DateOnly? End { get; init; }

    /// <summary>
    /// Occurrences in each period; with <see cref="Times"/> their number, on each day, counts instead. With
    /// <see cref="Days"/> and a period in days it is the number on each named day; in weeks it is spread over the named days.
    /// </summary>
    public int Frequency { get; init; } = 1;

    /// <summary>Length of the period, 1 or more; with <see cref="Days"/>, every so many weeks.</summary>
    public int Period { get; init; } = 1;

    /// <summary>Unit of the period.</summary>
    public PeriodUnit Unit { get; init; } = PeriodUnit.Day;

    /// <summary>Days of the week it is due on; empty for every day.</summary>
    public IReadOnlyList<DayOfWeek> Days { get; init; } = [];

    /// <summary>Times of day; empty when left open.</summary>
    public IReadOnlyList<TimeOnly> Times { get; init; } = [];

    /// <summary>Number of occurrences after which it ends; those a pause took away do not count. Null for no such limit.</summary>
    public int? Count { get; init; }

    /// <summary>Paused days.</summary>
    public IReadOnlyList<Pause> Pauses { get; init; } = [];

    /// <summary>The day of an instant in a zone.</summary>
    /// <exception cref="UnfitInputException">The zone is not known.</exception>
    public static DateOnly DayOf(DateTimeOffset instant, string timeZone) =>
        DateOnly.FromDateTime(TimeZoneInfo.ConvertTime(instant, ZonedTime.Zone(timeZone)).DateTime);

    /// <summary>
    /// Occurrences that may be done between two days, both included: those whose days overlap the span, by due day and time.
    /// </summary>
    /// <exception cref="UnfitInputException">Frequency, period or count below 1; an end before the start; a zone not known.</exception>
    public IReadOnlyList<DueOccurrence> Due(DateOnly from, DateOnly to)
    {
        Check();
        // A count is used up from the start on, so with one nothing before the span may be jumped over.
        var begin = Count is null && from > Start ? from : Start;
        var all = FixedDays ? Fixed(begin, to) : Open(begin, to);
        if (Count is { } count)
            all = all.Take(count);
        return [.. all.Where(due => due.To >= from && due.From <= to)];
    }

    private bool FixedDays => Days.Count > 0 || (Unit == PeriodUnit.Day && Period == 1);

    private int PerPeriod =>
        Times.Count > 0 ? Times.Count
        : Days.Count > 0 && Unit == PeriodUnit.Week ? Math.Max(1, Frequency / Days.Count)
        : Frequency;

    private DateOnly LastDay(DateOnly to) => End is { } end && end < to ? end : to;

    private bool Paused(DateOnly day)
    {
        foreach (var pause in Pauses)
            if (pause.Covers(day))
                return true;
        return false;
    }

    private IEnumerable<DueOccurrence> Fixed(DateOnly from, DateOnly to)
    {
        var zone = ZonedTime.Zone(TimeZone);
        var times = Times.Order().ToList();
        for (var day = from; day <= LastDay(to); day = day.AddDays(1))
        {
            if (Paused(day) || (Days.Count > 0 && (!Days.Contains(day.DayOfWeek) || !InTurn(day))))
                continue;
            for (var i = 0; i < PerPeriod; i++)
                yield return times.Count > 0
                    ? new(day, day, day, times[i], ZonedTime.At(day, times[i], zone))
                    : new(day, day, day);
        }
    }

    // With days of the week, "every second week" counts the weeks from the Monday of the week of the start.
    private bool InTurn(DateOnly day)
    {
        static DateOnly Monday(DateOnly any) => any.AddDays(-(((int)any.DayOfWeek + 6) % 7));
        return Unit == PeriodUnit.Day || Period == 1 || (Monday(day).DayNumber - Monday(Start).DayNumber) / 7 % Period == 0;
    }

    private IEnumerable<DueOccurrence> Open(DateOnly from, DateOnly to)
    {
        var length = Unit == PeriodUnit.Week ? Period * 7 : Period;
        var skipped = (from.DayNumber - Start.DayNumber) / length;
        for (var first = Start.AddDays(skipped * length); first <= LastDay(to); first = first.AddDays(length))
        {
            var last = End is { } end && end < first.AddDays(length - 1) ? end : first.AddDays(length - 1);
            for (var i = 0; i < PerPeriod; i++)
            {
                var sliceFrom = first.AddDays(i * length / PerPeriod);
                // More occurrences than days: several share a day, and a slice is never shorter than one.
                var sliceTo = first.AddDays(Math.Max(i * length / PerPeriod, (i + 1) * length / PerPeriod - 1));
                if (sliceTo > last || AllPaused(sliceFrom, sliceTo))
                    continue;
                yield return new(first, last, sliceTo);
            }
        }
    }

    private bool AllPaused(DateOnly from, DateOnly to)
    {
        for (var day = from; day <= to; day = day.AddDays(1))
            if (!Paused(day))
                return false;
        return true;
    }

    private void Check()
    {
        if (Frequency < 1)
            throw new UnfitInputException("frequency", $"{Frequency}", "1 or more", "say how often it is due");
        if (Period < 1)
            throw new UnfitInputException("period", $"{Period}", "1 or more", "say in how many days or weeks");
        if (Count < 1)
            throw new UnfitInputException("count", $"{Count}", "1 or more", "leave it out for no limit");
        if (End < Start)
            throw new UnfitInputException("end", $"{End:O}", $"not before {Start:O}", "correct start or end");
    }
}
