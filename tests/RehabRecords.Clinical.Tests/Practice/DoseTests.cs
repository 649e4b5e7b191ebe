namespace RehabRecords.Clinical.Tests;

public class DoseTests
{
    [Fact(DisplayName = "computed: 2430 of 3000 repetitions are 81.0 %")]
    public void Repetitions_over_prescribed()
    {
        var dose = Assert.Single(Dose.PerWeek([Home.Exercise(dosage: new(10, 300), schedule: Home.Daily() with { Days = [DayOfWeek.Monday] })],
            [Home.Done(1, Home.Good(1) with { Repetitions = 2430 })], Home.Day(7)));
        Assert.Equal(3000, dose.PlannedRepetitions);
        Assert.Equal(0.81, dose.RepetitionRatio!.Value, 9);
        Assert.Equal("Exercise pegs, week 1: 2430 of 3000 repetitions (81 %).", dose.Text);
    }

    [Fact]
    public void Weeks_are_counted_from_the_first_day()
    {
        var doses = Dose.PerWeek([Home.Exercise()], [Home.Done(7, Home.Good(7)), Home.Done(8, Home.Good(8))], Home.Day(9));
        Assert.Equal([(1, Home.Start, 20, 140), (2, Home.Day(8), 20, 40)], doses.Select(d => (d.Week, d.WeekStart, d.Repetitions!.Value, d.PlannedRepetitions!.Value)));
    }

    [Fact]
    public void What_was_not_reported_is_not_0()
    {
        var bare = new ExerciseReport("pegs", "r");
        var dose = Assert.Single(Dose.PerWeek([Home.Exercise()], [Home.Done(1, bare)], Home.Day(2)));
        Assert.Equal((null, null, null, null), (dose.Repetitions, dose.PurposefulRepetitions, dose.Minutes, dose.RepetitionRatio));
        Assert.Equal((1, 1), (dose.Occasions, dose.WithoutAmount));
        Assert.Equal("Exercise pegs, week 1: no amount reported, 1 of 1 occasions without an amount.", dose.Text);
        Assert.Equal(["pegs/plan", "r"], dose.Evidence);
    }

    [Fact]
    public void Purposeful_repetitions_and_minutes_are_summed_apart()
    {
        var result = Home.Good(1) with { Repetitions = 340, PurposefulRepetitions = 251, Minutes = 30.5m };
        var dose = Assert.Single(Dose.PerWeek([Home.Exercise(dosage: new(1, 100, 61))], [Home.Done(1, result), Home.Done(1, 18, Home.Good(1) with { Minutes = 10, Repetitions = null })], Home.Day(1)));
        Assert.Equal((340, 251, 40.5m, 2, 0), (dose.Repetitions, dose.PurposefulRepetitions, dose.Minutes, dose.Occasions, dose.WithoutAmount));
        Assert.Equal(3.4, dose.RepetitionRatio!.Value, 9);
        Assert.Equal(1, dose.RepetitionRatioCapped);
        Assert.Equal(40.5 / 61, dose.MinuteRatio!.Value, 9);
        Assert.Equal(dose.MinuteRatio, dose.MinuteRatioCapped);
        Assert.Equal("Exercise pegs, week 1: 340 of 100 repetitions (340 %), 251 of them purposeful, 40.5 of 61 minutes (66 %).", dose.Text);
    }

    [Theory]
    [InlineData(30, false, "common practice: 150 % exactly is not above")]
    [InlineData(31, true, "common practice: one repetition above 150 %")]
    public void Over_practice_is_above_the_share(int repetitions, bool over, string why)
    {
        var dose = Assert.Single(Dose.PerWeek([Home.Exercise()], [Home.Done(1, Home.Good(1) with { Repetitions = repetitions })], Home.Day(1)));
        Assert.True(over == dose.OverPractised(), why);
    }

    [Fact]
    public void Skipped_and_missed_give_no_dose_and_a_silent_week_stays_listed()
    {
        var doses = Dose.PerWeek([Home.Exercise()], [Home.Missed(1), Home.Done(2, Home.Good(2) with { Skipped = NotDoneReason.Pain, Repetitions = null })], Home.Day(7));
        var dose = Assert.Single(doses);
        Assert.Equal((0, null), (dose.Occasions, dose.Repetitions));
        Assert.Equal("Exercise pegs, week 1: no practice reported.", dose.Text);
        Assert.False(dose.OverPractised());
    }

    [Fact]
    public void A_revised_prescription_sums_what_each_version_asked()
    {
        var second = Home.Exercise(schedule: Home.Daily(Home.Day(4)), dosage: new(3, 10)) with { Evidence = "pegs/plan/2" };
        var dose = Assert.Single(Dose.PerWeek([Home.Exercise(), second], [], Home.Day(7)));
        Assert.Equal(3 * 20 + 4 * 30, dose.PlannedRepetitions);
        Assert.Equal(["pegs/plan", "pegs/plan/2"], dose.Evidence);
    }

    [Fact]
    public void Without_a_plan_there_is_no_dose_and_results_of_other_plans_do_not_count()
    {
        Assert.Empty(Dose.PerWeek([], [Home.Done(1, Home.Good(1))], Home.Day(1)));
        Assert.Null(Assert.Single(Dose.PerWeek([Home.Exercise()], [Home.Done(1, Home.Good(1, "other"))], Home.Day(1))).Repetitions);
    }
}
