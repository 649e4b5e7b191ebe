namespace RehabRecords.Clinical.Tests;

public class ScheduleTests
{
    public static TheoryData<string, Schedule, int, int> Counts => new()
    {
        { "every day", Home.Daily(), 14, 14 },
        { "twice a day", Home.Daily() with { Frequency = 2 }, 7, 14 },
        { "at two times of day", Home.Daily() with { Times = [new(9, 0), new(17, 0)] }, 7, 14 },
        { "on Monday, Wednesday and Friday", Home.Daily() with { Days = [DayOfWeek.Monday, DayOfWeek.Wednesday, DayOfWeek.Friday] }, 14, 6 },
        { "the same, written as three a week", Home.Daily() with { Days = [DayOfWeek.Monday, DayOfWeek.Wednesday, DayOfWeek.Friday], Frequency = 3, Unit = PeriodUnit.Week }, 14, 6 },
        { "twice on Mondays", Home.Daily() with { Days = [DayOfWeek.Monday], Frequency = 2 }, 14, 4 },
        { "on Mondays of every second week", Home.Daily() with { Days = [DayOfWeek.Monday], Period = 2, Unit = PeriodUnit.Week }, 28, 2 },
        { "three times a week, any day", Home.Daily() with { Frequency = 3, Unit = PeriodUnit.Week }, 14, 6 },
        { "once in two days", Home.Daily() with { Period = 2 }, 14, 7 },
        { "ten times a week", Home.Daily() with { Frequency = 10, Unit = PeriodUnit.Week }, 7, 10 },
        { "until day 5", Home.Daily() with { End = Home.Day(5) }, 14, 5 },
        { "four occurrences in all", Home.Daily() with { Count = 4 }, 14, 4 },
        { "paused from day 3 to 5", Home.Daily() with { Pauses = [new(Home.Day(3), Home.Day(5))] }, 7, 4 },
        { "paused from day 3 on", Home.Daily() with { Pauses = [new(Home.Day(3), null)] }, 7, 2 },
        { "four in all, around a pause", Home.Daily() with { Count = 4, Pauses = [new(Home.Day(2), Home.Day(3))] }, 5, 3 },
        { "three a week, one slice paused", Home.Daily() with { Frequency = 3, Unit = PeriodUnit.Week, Pauses = [new(Home.Day(1), Home.Day(2))] }, 7, 2 },
    };

    [Theory]
    [MemberData(nameof(Counts))]
    public void Occurrences_due(string why, Schedule schedule, int days, int due) =>
        Assert.True(due == schedule.Due(Home.Start, Home.Day(days)).Count(o => o.By <= Home.Day(days)), why);

    [Fact]
    public void A_span_that_begins_later_gives_the_same_occurrences_as_the_whole()
    {
        foreach (var schedule in Counts.Select(row => (Schedule)row[1]))
            for (var from = 1; from < 20; from++)
                Assert.Equal(schedule.Due(Home.Start, Home.Day(40)).Where(o => o.To >= Home.Day(from) && o.From <= Home.Day(30)), schedule.Due(Home.Day(from), Home.Day(30)));
    }

    [Fact]
    public void Nothing_is_due_before_the_start() => Assert.Empty(Home.Daily().Due(Home.Start.AddDays(-9), Home.Start.AddDays(-1)));

    [Fact]
    public void Three_a_week_may_be_done_on_any_day_and_come_due_at_an_even_pace()
    {
        var due = (Home.Daily() with { Frequency = 3, Unit = PeriodUnit.Week }).Due(Home.Start, Home.Day(7));
        Assert.All(due, o => Assert.Equal((Home.Start, Home.Day(7)), (o.From, o.To)));
        Assert.Equal([Home.Day(2), Home.Day(4), Home.Day(7)], due.Select(o => o.By));
    }

    [Fact]
    public void A_week_cut_short_asks_for_the_slices_that_are_left()
    {
        var due = (Home.Daily() with { Frequency = 3, Unit = PeriodUnit.Week, End = Home.Day(4) }).Due(Home.Start, Home.Day(14));
        Assert.Equal([Home.Day(2), Home.Day(4)], due.Select(o => o.By));
        Assert.All(due, o => Assert.Equal(Home.Day(4), o.To));
    }

    [Theory]
    [InlineData(2026, 3, 28, 1, 30, "2026-03-28T01:30:00+00:00", "the night before clocks go forward")]
    [InlineData(2026, 3, 29, 1, 30, "2026-03-29T02:30:00+01:00", "a time that does not exist moves on by the gap")]
    [InlineData(2026, 3, 29, 9, 0, "2026-03-29T09:00:00+01:00", "summer time")]
    [InlineData(2026, 10, 25, 1, 30, "2026-10-25T01:30:00+01:00", "a time that occurs twice is the first")]
    [InlineData(2026, 10, 25, 2, 30, "2026-10-25T02:30:00+00:00", "winter time")]
    public void Times_of_day_keep_to_the_clock_across_daylight_saving(int year, int month, int day, int hour, int minute, string at, string why)
    {
        var date = new DateOnly(year, month, day);
        var due = Assert.Single((new Schedule(date, "Europe/London") with { Times = [new(hour, minute)] }).Due(date, date));
        Assert.True(due.At!.Value.ToString("yyyy-MM-ddTHH:mm:sszzz") == at, $"{why}: {due.At:O}");
    }

    [Theory]
    [InlineData("2026-07-01T23:30:00Z", "Europe/London", "2026-07-02", "after midnight in summer time")]
    [InlineData("2026-01-01T23:30:00Z", "Europe/London", "2026-01-01", "before midnight in winter time")]
    [InlineData("2026-01-01T23:30:00Z", "Asia/Tokyo", "2026-01-02", "already the next day in Tokyo")]
    [InlineData("2026-01-01T03:00:00+05:00", "America/New_York", "2025-12-31", "still the day before in New York")]
    public void The_day_is_that_of_the_programmes_zone(string instant, string zone, string day, string why) =>
        Assert.True(Schedule.DayOf(DateTimeOffset.Parse(instant), zone).ToString("yyyy-MM-dd") == day, why);

    [Fact]
    public void What_makes_no_schedule_is_refused()
    {
        Assert.Equal("frequency", Refused(Home.Daily() with { Frequency = 0 }));
        Assert.Equal("period", Refused(Home.Daily() with { Period = 0 }));
        Assert.Equal("count", Refused(Home.Daily() with { Count = 0 }));
        Assert.Equal("end", Refused(Home.Daily() with { End = Home.Start.AddDays(-1) }));
        Assert.Equal("timeZone", Refused(new Schedule(Home.Start, "Europe/Atlantis")));
        Assert.Contains("Europe/London", Assert.Throws<UnfitInputException>(() => Schedule.DayOf(Home.At(1), "nowhere")).Message);

        static string Refused(Schedule schedule) => Assert.Throws<UnfitInputException>(() => schedule.Due(Home.Start, Home.Day(3))).Problem.Element;
    }
}
