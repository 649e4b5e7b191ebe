namespace RehabRecords.Clinical;

/// <summary>Local times of a zone as instants.</summary>
internal static class ZonedTime
{
    public static TimeZoneInfo Zone(string id)
    {
        try
        {
            return TimeZoneInfo.FindSystemTimeZoneById(id);
        }
        catch (Exception unknown) when (unknown is TimeZoneNotFoundException or InvalidTimeZoneException)
        {
            throw new UnfitInputException("timeZone", id, "an IANA time zone such as Europe/London", "name the programme's zone");
        }
    }

    /// <summary>
    /// The instant of a local time. When clocks go forward a time may not exist: the offset before the change is used, so
    /// 01:30 becomes 02:30. When they go back a time occurs twice: the first one is meant. (Both as RFC 5545 has it.)
    /// </summary>
    public static DateTimeOffset At(DateOnly day, TimeOnly time, TimeZoneInfo zone)
    {
        var local = day.ToDateTime(time, DateTimeKind.Unspecified);
        if (zone.IsInvalidTime(local))
        {
            var before = new DateTimeOffset(local, zone.GetUtcOffset(local.AddDays(-1)));
            return TimeZoneInfo.ConvertTime(before, zone);
        }
        var offset = zone.IsAmbiguousTime(local) ? zone.GetAmbiguousTimeOffsets(local).Max() : zone.GetUtcOffset(local);
        return new DateTimeOffset(local, offset);
    }
}
