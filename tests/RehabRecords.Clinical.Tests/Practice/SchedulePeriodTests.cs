namespace RehabRecords.Clinical.Tests;

/// <summary>Periods longer than one, slices of open periods, bounds and counts. All days are computed by hand.</summary>
public class SchedulePeriodTests
{
    private static readonly DayOfWeek[] MondayThursday = [DayOfWeek.Monday, DayOfWeek.Thursday];

    public static TheoryData<string, Schedule, int[]> Days => new()
    {
        { "every second week, the week of the start first", Weeks(2), [1, 4, 15, 18, 29, 32] },
        { "every third week", Weeks(3), [1, 4, 22, 25] },
        { "begun on a Thursday, the Monday after it belongs to the week left out", Weeks(2, start: 4), [4, 15, 18, 29, 32] },
        { "begun on a Sunday, the whole week that follows is left out", Weeks(2, start: 7), [15, 18, 29, 32] },
        { "a period in days does not thin out days of the week", Home.Daily() with { Days = MondayThursday, Period = 2 }, [1, 4, 8, 11, 15, 18, 22, 25, 29, 32] },
        { "ends on the last day, which counts", Weeks(1) with { End = Home.Day(11) }, [1, 4, 8, 11] },
        { "one occurrence in all", Home.Daily() with { Count = 1 }, [1] },
        { "one day in all", Home.Daily() with { End = Home.Start }, [1] },
        { "once in two weeks comes due at the end of the two", Home.Daily() with { Period = 2, Unit = PeriodUnit.Week }, [14, 28] },
        { "three in two weeks", Home.Daily() with { Frequency = 3, Period = 2, Unit = PeriodUnit.Week }, [4, 9, 14, 18, 23, 28, 32] },
        { "twice in five days", Home.Daily() with { Frequency = 2, Period = 5 }, [2, 5, 7, 10, 12, 15, 17, 20, 22, 25, 27, 30, 32] },
        { "the last slice of the programme ends with it", Home.Daily() with { Period = 5, End = Home.Day(10) }, [5, 10] },
        { "a period cut short by a day asks for nothing more", Home.Daily() with { Period = 5, End = Home.Day(9) }, [5] },
        { "the first day of a period cut to it is a slice of its own when seven are asked", Home.Daily() with { Frequency = 7, Unit = PeriodUnit.Week, End = Home.Day(8) }, [1, 2, 3, 4, 5, 6, 7, 8] },
    };

    [Theory]
    [MemberData(nameof(Days))]
    public void Due_by(string why, Schedule schedule, int[] days)
    {
        var found = schedule.Due(Home.Start, Home.Day(34)).Select(o => o.By.DayNumber - Home.Start.DayNumber + 1).Where(day => day <= 34).ToArray();
        Assert.True(days.SequenceEqual(found), $"{why}: {string.Join(" ", found)}");
    }

    [Theory]
    [InlineData(5, 5, 10, "the whole period remains")]
    [InlineData(7, 7, 10, "the last day of the first period is asked")]
    public void An_open_period_is_found_from_any_of_its_days(int day, int length, int end, string why)
    {
        var due = Assert.Single((Home.Daily() with { Period = length, End = Home.Day(end) }).Due(Home.Day(day), Home.Day(day)));
        Assert.True((Home.Start, Home.Day(length), Home.Day(length)) == (due.From, due.To, due.By), why);
    }

    [Fact]
    public void More_occurrences_than_days_share_the_days_in_order()
    {
        // Every 0.7 of a day one begins: 0, 0.7, 1.4, 2.1, 2.8, 3.5, 4.2, 4.9, 5.6, 6.3.
        var due = (Home.Daily() with { Frequency = 10, Unit = PeriodUnit.Week }).Due(Home.Start, Home.Day(7));
        Assert.Equal([1, 1, 2, 3, 3, 4, 5, 5, 6, 7], due.Select(o => o.By.DayNumber - Home.Start.DayNumber + 1));
    }

    [Fact]
    public void Times_come_in_order_of_the_day_however_they_were_written() =>
        Assert.Equal([new TimeOnly(9, 0), new TimeOnly(17, 0)], (Home.Daily() with { Times = [new(17, 0), new(9, 0)] }).Due(Home.Start, Home.Start).Select(o => o.Time!.Value));

    [Fact]
    public void A_revision_holds_from_its_first_day_and_an_earlier_end_is_kept()
    {
        // Version one ended on day 2 by itself; version two begins on day 5 and is replaced by its correction of the same day.
        PlannedExercise[] plan =
        [
            Home.Exercise(schedule: Home.Daily() with { End = Home.Day(2) }),
            Home.Exercise(schedule: Home.Daily(Home.Day(5))),
            Home.Exercise(schedule: Home.Daily(Home.Day(5)) with { Frequency = 2 }),
        ];
        Assert.Equal(2 + 2 * 3, Adherence.OfExercise("pegs", plan, [], Home.Start, Home.Day(7)).Due);
        Assert.Equal(2, Adherence.OfExercise("pegs", plan, [], Home.Start, Home.Day(4)).Due);
        // A version that would have ended later ends the day before the next one begins.
        Assert.Equal(4 + 2 * 3, Adherence.OfExercise("pegs", [plan[0] with { Schedule = Home.Daily() with { End = Home.Day(6) } }, plan[1], plan[2]], [], Home.Start, Home.Day(7)).Due);
        // On its last day a prescription is still in force.
        Assert.Single(Progression.Suggest(new([plan[0]], [], [], Home.Day(2), 5)));
    }

    public static TheoryData<Schedule, string> Refused => new()
    {
        { Home.Daily() with { Frequency = 0 }, "frequency is 0; allowed: 1 or more. Say how often it is due." },
        { Home.Daily() with { Period = -1 }, "period is -1; allowed: 1 or more. Say in how many days or weeks." },
        { Home.Daily() with { Count = 0 }, "count is 0; allowed: 1 or more. Leave it out for no limit." },
        { Home.Daily() with { End = Home.Start.AddDays(-1) }, "end is 2026-01-04; allowed: not before 2026-01-05. Correct start or end." },
        { new Schedule(Home.Start, "Europe/Atlantis"), "timeZone is Europe/Atlantis; allowed: an IANA time zone such as Europe/London. Name the programme's zone." },
    };

    [Theory]
    [MemberData(nameof(Refused))]
    public void A_refusal_says_what_would_do(Schedule schedule, string message) =>
        Assert.Equal(message, Assert.Throws<UnfitInputException>(() => schedule.Due(Home.Start, Home.Day(3))).Message);

    private static Schedule Weeks(int period, int start = 1) => Home.Daily(Home.Day(start)) with { Days = MondayThursday, Period = period, Unit = PeriodUnit.Week };
}
