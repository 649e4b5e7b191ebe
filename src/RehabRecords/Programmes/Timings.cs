using System.Globalization;
using Hl7.Fhir.Model;
using RehabRecords.Library;

namespace RehabRecords.Programmes;

/// <summary>Between the schedule of a request and Timing, and the words for it.</summary>
internal static class Timings
{
    public static readonly string[] Days = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"];

    private static readonly string[] DayNames = ["Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"];

    private static readonly DaysOfWeek?[] FhirDays =
        [DaysOfWeek.Mon, DaysOfWeek.Tue, DaysOfWeek.Wed, DaysOfWeek.Thu, DaysOfWeek.Fri, DaysOfWeek.Sat, DaysOfWeek.Sun];

    /// <summary>Once a day unless more is said; the number of times of day tells it as well.</summary>
    public static ScheduleRequest Whole(ScheduleRequest? schedule) => new()
    {
        TimesPerDay = schedule?.TimesPerDay ?? (schedule?.TimesOfDay is { Count: > 0 } times ? times.Count : 1),
        DaysOfWeek = schedule?.DaysOfWeek is { Count: > 0 } days ? [.. days.OrderBy(d => Array.IndexOf(Days, d))] : [],
        TimesOfDay = [.. (schedule?.TimesOfDay ?? []).Order(StringComparer.Ordinal)],
    };

    public static Timing ToTiming(this ScheduleRequest schedule, DateOnly start, DateOnly? end) => new()
    {
        Repeat = new Timing.RepeatComponent
        {
            Bounds = new Period { Start = Iso(start), End = end is { } last ? Iso(last) : null },
            Frequency = schedule.TimesPerDay,
            Period = 1,
            PeriodUnit = Timing.UnitsOfTime.D,
            DayOfWeek = [.. schedule.DaysOfWeek!.Select(d => FhirDays[Array.IndexOf(Days, d)])],
            TimeOfDay = schedule.TimesOfDay!.Select(t => t + ":00"),
        },
    };

    public static ScheduleRequest From(Timing? timing) => new()
    {
        TimesPerDay = timing?.Repeat?.Frequency,
        DaysOfWeek = [.. (timing?.Repeat?.DayOfWeek ?? []).Select(d => Days[Array.IndexOf(FhirDays, d)])],
        TimesOfDay = [.. (timing?.Repeat?.TimeOfDay ?? []).OfType<string>().Select(t => t[..5])],
    };

    /// <summary>First and last day of a prescription.</summary>
    public static Period? Bounds(ServiceRequest request) => (request.Occurrence as Timing)?.Repeat?.Bounds as Period;

    public static string Words(ScheduleRequest schedule, DateOnly start, DateOnly? end)
    {
        var until = end is { } last ? $"from {Day(start)} to {Day(last)}" : $"from {Day(start)}, until your therapist changes it";
        return PlainWords.Sentence($"{Often(schedule)}, {until}");
    }

    /// <summary>"Twice each day, on Monday and Friday, at 09:00 and 16:30".</summary>
    public static string Often(ScheduleRequest schedule)
    {
        var often = schedule.TimesPerDay switch { 1 => "Once", 2 => "Twice", var n => $"{n} times" };
        var days = schedule.DaysOfWeek!.Count == 0
            ? "every day"
            : "on " + List(schedule.DaysOfWeek.Select(d => DayNames[Array.IndexOf(Days, d)]));
        var each = schedule.DaysOfWeek.Count == 0 || schedule.TimesPerDay == 1 ? "" : " each day,";
        var times = schedule.TimesOfDay!.Count == 0 ? "" : ", at " + List(schedule.TimesOfDay);
        return $"{often}{each} {days}{times}";
    }

    public static string Iso(DateOnly day) => day.ToString("yyyy-MM-dd", CultureInfo.InvariantCulture);

    private static string Day(DateOnly day) => day.ToString("d MMMM yyyy", CultureInfo.InvariantCulture);

    private static string List(IEnumerable<string> words)
    {
        var all = words.ToList();
        return all.Count < 2 ? string.Concat(all) : $"{string.Join(", ", all[..^1])} and {all[^1]}";
    }
}
