using CsCheck;

namespace RehabRecords.Clinical.Tests;

/// <summary>The calendar of practice. The states are worked out by hand; common practice, no source.</summary>
public class PracticeDayTests
{
    private static readonly PlannedExercise TwiceADay = Home.Exercise(schedule: Home.Daily() with { Frequency = 2 });

    public static TheoryData<string, PlannedExercise, SessionReport[], DayState> Days => new()
    {
        { "due and done", Home.Exercise(), [Home.Done(1)], DayState.Done },
        { "due and reported as missed", Home.Exercise(), [Home.Missed(1)], DayState.Missed },
        { "due without a report is unknown, never missed", Home.Exercise(), [], DayState.Unknown },
        { "one of two done, one missed", TwiceADay, [Home.Done(1), Home.Missed(1)], DayState.Partly },
        { "one of two done, the other without a report", TwiceADay, [Home.Done(1)], DayState.Partly },
        { "one of two missed, the other without a report: nothing is known to be done", TwiceADay, [Home.Missed(1)], DayState.Unknown },
        { "both done", TwiceADay, [Home.Done(1, 9), Home.Done(1, 15)], DayState.Done },
        { "more than was due still is done", Home.Exercise(), [Home.Done(1, 9), Home.Done(1, 15)], DayState.Done },
        { "not a day of practice", Home.Exercise(schedule: Home.Daily() with { Days = [DayOfWeek.Tuesday] }), [], DayState.NothingDue },
        { "practised although not a day of practice", Home.Exercise(schedule: Home.Daily() with { Days = [DayOfWeek.Tuesday] }), [Home.Done(1)], DayState.Extra },
        { "paused", Home.Exercise(schedule: Home.Daily() with { Pauses = [new(Home.Start, null)] }), [], DayState.Paused },
        { "practised in a pause", Home.Exercise(schedule: Home.Daily() with { Pauses = [new(Home.Start, null)] }), [Home.Done(1)], DayState.Extra },
    };

    [Theory]
    [MemberData(nameof(Days))]
    public void State_of_the_first_day(string why, PlannedExercise exercise, SessionReport[] reports, DayState state)
    {
        var day = Assert.Single(PracticeDay.Calendar([exercise], reports, Home.Start, Home.Start));
        Assert.True(state == day.State, $"{why}: {day.State}");
        Assert.Equal(reports.Length, day.Evidence.Count);
    }

    [Fact]
    public void Of_a_pause_of_one_exercise_the_day_is_not_paused() =>
        Assert.Equal(DayState.Unknown, PracticeDay.Calendar(
            [Home.Exercise(), Home.Exercise("coins", Home.Daily() with { Pauses = [new(Home.Start, null)] })], [], Home.Start, Home.Start)[0].State);

    [Fact]
    public void Without_days_there_is_no_calendar() => Assert.Empty(PracticeDay.Calendar([Home.Exercise()], [], Home.Day(2), Home.Day(1)));

    [Fact]
    public void Without_a_plan_no_day_is_paused() => Assert.Equal(DayState.NothingDue, PracticeDay.Calendar([], [], Home.Start, Home.Start)[0].State);

    [Fact]
    public void The_days_add_up_to_the_adherence() =>
        Gen.Select(Gen.Select(Gen.Int[1, 28], Gen.Bool).Array[0, 25], Gen.Int[1, 4], Gen.Int[1, 28]).Sample((sessions, frequency, to) =>
        {
            PlannedExercise[] plan = [Home.Exercise(schedule: Home.Daily() with { Frequency = frequency, Unit = PeriodUnit.Week }), Home.Exercise("coins", Home.Daily() with { Days = [DayOfWeek.Monday] })];
            SessionReport[] reports = [.. sessions.Select((s, i) => new SessionReport($"s/{i:00}", Home.Day(s.Item1), s.Item2))];
            var (days, sum) = (PracticeDay.Calendar(plan, reports, Home.Start, Home.Day(to)), Adherence.OfProgramme(plan, reports, Home.Start, Home.Day(to)));
            return days.Count == to && days.Sum(d => d.Done) == sum.Done && days.Sum(d => d.Missed) == sum.NotDone && days.Sum(d => d.Unknown) == sum.Unknown && days.Sum(d => d.Extra) == sum.Extra;
        });
}
