using CsCheck;

namespace RehabRecords.Clinical.Tests;

/// <summary>How occurrences of different exercises become one practice occasion, which one session can serve. All counts are computed by hand.</summary>
public class OccasionTests
{
    private static readonly PlannedExercise OnceAWeek = Open("pegs", 1, 7);

    public static TheoryData<string, PlannedExercise[], int, int, int> Due => new()
    {
        { "two open weeks of three and two ask for three sessions", [Open("pegs", 3, 7), Open("coins", 2, 7)], 1, 7, 3 },
        { "an earlier fixed day does not serve a later one", [On("pegs", DayOfWeek.Thursday), On("coins", DayOfWeek.Monday)], 1, 7, 2 },
        { "an open fortnight is served by the session of an open week", [OnceAWeek, Open("coins", 1, 14)], 1, 14, 2 },
        { "three exercises on three fixed days, one of them shared", [On("pegs", DayOfWeek.Monday, DayOfWeek.Friday), On("coins", DayOfWeek.Friday), On("keys", DayOfWeek.Sunday)], 1, 7, 3 },
        { "twice a day beside once a day are two sessions a day", [Home.Exercise("pegs"), Home.Exercise("coins", Home.Daily() with { Frequency = 2 })], 1, 1, 2 },
        { "what came due by day 3 is due with it, although the other had until day 7", [Open("pegs", 2, 7), Open("coins", 1, 7)], 1, 3, 1 },
        { "the earlier of two due days counts also when it is that of the exercise laid on", [OnceAWeek, LaterTwiceAWeek()], 1, 10, 2 },
        { "and not a day before it", [OnceAWeek, LaterTwiceAWeek()], 1, 9, 1 },
        { "an exercise that begins later moves the shared occasion to its own first day", [Open("pegs", 2, 7), Open("coins", 1, 3, 5, 7)], 4, 5, 1 },
        { "nothing asked for is nothing due", [], 1, 7, 0 },
    };

    [Theory]
    [MemberData(nameof(Due))]
    public void Occasions_due(string why, PlannedExercise[] plan, int from, int to, int due)
    {
        var found = Adherence.OfProgramme(plan, [], Home.Day(from), Home.Day(to)).Due;
        Assert.True(due == found, $"{why}: {found}");
    }

    [Theory]
    [InlineData(7, 1, 0, "the first week's own occasion")]
    [InlineData(10, 0, 1, "a day before both allow")]
    [InlineData(11, 1, 0, "the first day both allow")]
    [InlineData(13, 1, 0, "the last day both allow")]
    [InlineData(14, 0, 1, "a day after one of them ended")]
    public void A_shared_occasion_may_be_done_on_the_days_both_allow(int day, int done, int extra, string why)
    {
        // Pegs in days 1 to 7 and 8 to 14; coins once in days 11 to 13, which narrows the second week of the pegs.
        var found = Adherence.OfProgramme([Open("pegs", 1, 7), Open("coins", 1, 3, 11, 13)], [Home.Done(day)], Home.Start, Home.Day(14));
        Assert.True((2, done, extra) == (found.Due, found.Done, found.Extra), $"{why}: {found.Text}");
    }

    [Theory]
    [InlineData(4, 0, "before the fixed day")]
    [InlineData(5, 1, "on it")]
    [InlineData(6, 0, "after it")]
    public void A_fixed_day_binds_the_open_week_that_joins_it(int day, int done, string why)
    {
        var found = Adherence.OfProgramme([OnceAWeek, On("coins", DayOfWeek.Friday)], [Home.Done(day)], Home.Start, Home.Day(7));
        Assert.True((1, done, 1 - done) == (found.Due, found.Done, found.Extra), $"{why}: {found.Text}");
    }

    [Fact(DisplayName = "computed: with fixed days an occasion is due on each day as often as the exercise that asks most")]
    public void Fixed_days_take_the_largest_number() =>
        Gen.Select(Gen.Int[1, 3], Gen.Enum<DayOfWeek>().Array[1, 4]).Array[1, 4].Sample(exercises =>
        {
            PlannedExercise[] plan = [.. exercises.Select((e, i) => Home.Exercise($"e{i}", Home.Daily() with { Frequency = e.Item1, Days = [.. e.Item2.Distinct()] }))];
            var most = Enumerable.Range(1, 14).Sum(day => exercises.Max(e => e.Item2.Contains(Home.Day(day).DayOfWeek) ? e.Item1 : 0));
            return Adherence.OfProgramme(plan, [], Home.Start, Home.Day(14)).Due == most;
        });

    [Fact]
    public void A_day_partly_reported_begins_a_gap_only_by_its_silent_occasion()
    {
        // Twice on day 1, once reported; then silent to day 7: seven days, which is not longer than a week.
        var plan = Home.Exercise(schedule: Home.Daily() with { Frequency = 2 });
        var reports = new[] { Home.Done(1, Home.Good(1)) }.Concat(Enumerable.Range(8, 33).SelectMany(day => new[] { Home.Done(day, Home.Good(day)), Home.Done(day, 18, Home.Good(day)) })).ToList();
        Assert.Equal("advance-all-met", Assert.Single(Progression.Suggest(new([plan], reports, [], Home.Day(40), 5))).Rule);
    }

    [Fact]
    public void Only_practice_done_is_told_where_nothing_was_due()
    {
        var found = Adherence.OfProgramme([On("pegs", DayOfWeek.Monday)], [Home.Done(2)], Home.Day(2), Home.Day(3));
        Assert.Equal("Nothing was due; 1 done.", found.Text);
        Assert.Equal(["pegs/plan", "session/2/10"], found.Evidence);
        Assert.Equal("1 of 1 due done, 0 not done, 0 without a report: 100 %.", Adherence.OfProgramme([Home.Exercise()], [Home.Done(1)], Home.Start, Home.Start).Text);
    }

    [Fact]
    public void An_exercise_reported_twice_in_one_session_is_done_when_one_of_them_is()
    {
        var twice = Home.Done(1, Home.Good(1) with { Evidence = "a", Skipped = NotDoneReason.Pain }, Home.Good(1) with { Evidence = "c" }, Home.Good(1) with { Evidence = "b" });
        var found = Adherence.OfExercise("pegs", [Home.Exercise()], [twice], Home.Start, Home.Start);
        Assert.Equal((1, 0), (found.Done, found.NotDone));
        Assert.Equal(["pegs/plan", "b"], found.Evidence);
    }

    [Fact]
    public void Sessions_of_one_day_are_listed_in_order_of_the_hour_those_beyond_what_was_due_too()
    {
        var found = Adherence.OfProgramme([Home.Exercise()], [Home.Done(1, 18), Home.Done(2, 9), Home.Done(1, 9)], Home.Start, Home.Day(2));
        Assert.Equal(["pegs/plan", "session/1/9", "session/1/18", "session/2/9"], found.Evidence);
        Assert.Equal(1, found.Extra);
    }

    private static PlannedExercise Open(string id, int times, int days, int start = 1, int? end = null) =>
        Home.Exercise(id, Home.Daily(Home.Day(start)) with { Frequency = times, Period = days, End = end is { } last ? Home.Day(last) : null });

    private static PlannedExercise On(string id, params DayOfWeek[] days) => Home.Exercise(id, Home.Daily() with { Days = days });

    // One occurrence in days 8 to 14, due by day 10.
    private static PlannedExercise LaterTwiceAWeek() => Home.Exercise("coins", Home.Daily(Home.Day(8)) with { Frequency = 2, Unit = PeriodUnit.Week, Count = 1 });
}
