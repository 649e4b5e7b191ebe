using System.Globalization;
using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Search;

/// <summary>
/// A FHIR date is a span as long as its precision: "2026-03" is all of March. Half-open, in microseconds since 1970 UTC;
/// where no zone is given, UTC is meant.
/// </summary>
internal readonly record struct DateRange(long Start, long Finish)
{
    public static readonly long Beginning = Microseconds(DateTimeOffset.MinValue);
    public static readonly long End = Microseconds(DateTimeOffset.MaxValue);

    private static readonly string[] _toSeconds = ["yyyy-MM-ddTHH:mm:ss.FFFFFFFK", "yyyy-MM-ddTHH:mm:ssK"];

    public static long Microseconds(DateTimeOffset time) => (time.UtcTicks - DateTimeOffset.UnixEpoch.UtcTicks) / TimeSpan.TicksPerMicrosecond;

    public static DateTimeOffset Time(long microseconds) => new(DateTimeOffset.UnixEpoch.UtcTicks + (microseconds * TimeSpan.TicksPerMicrosecond), TimeSpan.Zero);

    public static DateRange? Parse(string? text) => text switch
    {
        null => null,
        { Length: 4 } => Between(text, "yyyy", t => t.AddYears(1)),
        { Length: 7 } => Between(text, "yyyy-MM", t => t.AddMonths(1)),
        { Length: 10 } => Between(text, "yyyy-MM-dd", t => t.AddDays(1)),
        _ => WithTime(text),
    };

    public static DateRange? Of(Period? period)
    {
        var start = Parse(period?.Start);
        var finish = Parse(period?.End);
        return start is null && finish is null ? null : new DateRange(start?.Start ?? Beginning, finish?.Finish ?? End);
    }

    /// <summary>From the first to the last moment that a Timing names.</summary>
    public static DateRange? Of(Timing? timing)
    {
        var parts = (timing?.Event ?? []).Select(Parse).Append(Of(timing?.Repeat?.Bounds as Period)).Where(r => r is not null).Select(r => r!.Value).ToList();
        return parts.Count == 0 ? null : new DateRange(parts.Min(p => p.Start), parts.Max(p => p.Finish));
    }

    private static DateRange? WithTime(string text)
    {
        // A "+" that was not escaped in an address arrives as a blank.
        var repaired = text.Replace(' ', '+');
        var body = repaired;
        var zoneAt = repaired.IndexOfAny(['Z', '+', '-'], Math.Min(repaired.Length, 11));
        if (zoneAt > 0)
            body = repaired[..zoneAt];
        if (body.Length == 16)
            return Between(zoneAt > 0 ? repaired : repaired + "Z", "yyyy-MM-ddTHH:mmK", t => t.AddMinutes(1));
        if (!DateTimeOffset.TryParseExact(repaired, _toSeconds, CultureInfo.InvariantCulture, DateTimeStyles.AssumeUniversal, out var time))
            return null;
        var digits = body.IndexOf('.', StringComparison.Ordinal) is var dot and > 0 ? body.Length - dot - 1 : 0;
        var start = Microseconds(time);
        var length = 1_000_000L;
        for (var i = 0; i < digits && length > 1; i++)
            length /= 10;
        return new DateRange(start, start + length);
    }

    private static DateRange? Between(string text, string format, Func<DateTimeOffset, DateTimeOffset> next)
    {
        if (!DateTimeOffset.TryParseExact(text, format, CultureInfo.InvariantCulture, DateTimeStyles.AssumeUniversal, out var start))
            return null;
        return new DateRange(Microseconds(start), start.Year == 9999 ? End : Microseconds(next(start)));
    }
}
