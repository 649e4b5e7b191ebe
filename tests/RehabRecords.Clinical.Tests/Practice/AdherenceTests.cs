namespace RehabRecords.Clinical.Tests;

public class AdherenceTests
{
    [Theory]
    [InlineData(18, 28, false, 64.3, "published: SS-MAHE, more than 70 %; arithmetic computed")]
    [InlineData(20, 28, true, 71.4, "published: SS-MAHE, more than 70 %; arithmetic computed")]
    [InlineData(7, 10, false, 70.0, "published: SS-MAHE, strictly more; exactly 70 % is not")]
    [InlineData(71, 100, true, 71.0, "published: SS-MAHE, one step above")]
    [InlineData(69, 100, false, 69.0, "published: SS-MAHE, one step below")]
    public void Adherent_is_strictly_more_than_70_per_cent(int done, int due, bool adherent, double percent, string source)
    {
        var reports = Enumerable.Range(1, due).Select(day => day <= done ? Home.Done(day) : Home.Missed(day)).ToList();
        var found = Adherence.OfProgramme([Home.Exercise()], reports, Home.Start, Home.Day(due));
        Assert.True(adherent == found.Meets(AdherenceRule.MoreThan70), source);
        Assert.Equal(percent, found.Lower!.Value * 100, 1);
        Assert.Equal(found.Lower, found.Upper);
    }

    [Fact(DisplayName = "common practice: the 80 % definition is met at 80 % exactly")]
    public void Another_definition()
    {
        var rule = AdherenceRule.All.Single(r => r.Id == "at-least-80");
        Assert.Equal(Mark.CommonPractice, rule.Source.Mark);
        Assert.True(rule.Holds(8, 10));
        Assert.False(rule.Holds(79, 100));
    }

    [Theory(DisplayName = "common practice: a clinic sets its own definition; one that ships keeps its source")]
    [InlineData("70", true, "more-than-70", Mark.Published)]
    [InlineData("80", false, "at-least-80", Mark.CommonPractice)]
    [InlineData("70", false, "clinic", Mark.CommonPractice)]
    [InlineData("80", true, "clinic", Mark.CommonPractice)]
    [InlineData("0.5", true, "clinic", Mark.CommonPractice)]
    [InlineData("99.9", true, "clinic", Mark.CommonPractice)]
    [InlineData("100", false, "clinic", Mark.CommonPractice)]
    public void A_clinic_sets_its_own(string percent, bool strict, string id, Mark mark)
    {
        var share = decimal.Parse(percent, System.Globalization.CultureInfo.InvariantCulture);
        var rule = AdherenceRule.Of(share, strict);
        Assert.Equal((id, mark, share / 100, strict), (rule.Id, rule.Source.Mark, rule.Threshold, rule.Strict));
        Assert.Equal($"{(strict ? "more than" : "at least")} {percent} % of what was prescribed", rule.Title);
        if (id == "clinic")
            Assert.Equal("set by the clinic", rule.Source.Citation);
    }

    [Theory]
    [InlineData(0, false)]
    [InlineData(-1, false)]
    [InlineData(100.1, false)]
    [InlineData(100, true)]
    public void A_definition_that_nobody_or_everybody_meets_is_refused(double percent, bool strict)
    {
        var refused = Assert.Throws<UnfitInputException>(() => AdherenceRule.Of((decimal)percent, strict));
        Assert.Equal("percent", refused.Problem.Element);
        Assert.Contains("above 0, at most 100; below 100 when strict", refused.Message, StringComparison.Ordinal);
    }

    [Fact(DisplayName = "published range (Levy 2021): nothing due has no ratio; 42 done of 30 due is 140 % uncapped and 100 % capped")]
    public void Nothing_due_and_more_than_due()
    {
        var none = Adherence.OfProgramme([Home.Exercise()], [], Home.Start.AddDays(-5), Home.Start.AddDays(-1));
        Assert.Equal((0, null, null, null, null), (none.Due, none.Lower, none.Upper, none.Uncapped, none.Completeness));
        Assert.Null(none.Meets(AdherenceRule.MoreThan70));
        Assert.Equal("Nothing was due.", none.Text);

        var reports = Enumerable.Range(1, 30).Select(day => Home.Done(day)).Concat(Enumerable.Range(1, 12).Select(day => Home.Done(day, 18))).ToList();
        var more = Adherence.OfProgramme([Home.Exercise()], reports, Home.Start, Home.Day(30));
        Assert.Equal((30, 30, 12), (more.Due, more.Done, more.Extra));
        Assert.Equal((1.4, 1.0, 1.0), (more.Uncapped!.Value, more.Capped!.Value, more.Upper!.Value));
        Assert.Contains("12 done beyond what was due", more.Text);
    }

    [Fact]
    public void A_day_without_a_report_is_unknown_and_lies_between_the_bounds()
    {
        var found = Adherence.OfProgramme([Home.Exercise()], [Home.Done(1), Home.Done(2), Home.Missed(3)], Home.Start, Home.Day(5));
        Assert.Equal((5, 2, 1, 2), (found.Due, found.Done, found.NotDone, found.Unknown));
        Assert.Equal((0.4, 0.8, 0.6), (found.Lower!.Value, found.Upper!.Value, found.Completeness!.Value));
        Assert.Equal("2 of 5 due done, 1 not done, 2 without a report: between 40 and 80 %.", found.Text);
        Assert.Null(found.Meets(AdherenceRule.MoreThan70));
        Assert.Equal(["pegs/plan", "session/1/10", "session/2/10", "missed/3"], found.Evidence);
    }

    [Fact]
    public void Extra_practice_makes_up_for_no_other_day()
    {
        var found = Adherence.OfProgramme([Home.Exercise()], [Home.Done(1), Home.Done(1, 18), Home.Done(1, 20)], Home.Start, Home.Day(3));
        Assert.Equal((1, 2, 2), (found.Done, found.Unknown, found.Extra));
    }

    [Fact]
    public void Within_an_open_week_any_day_will_do()
    {
        var plan = new[] { Home.Exercise(schedule: Home.Daily() with { Frequency = 3, Unit = PeriodUnit.Week }) };
        var whole = Adherence.OfProgramme(plan, [Home.Done(5), Home.Done(6), Home.Done(7)], Home.Start, Home.Day(7));
        Assert.Equal((3, 3, 0), (whole.Due, whole.Done, whole.Extra));
        var ahead = Adherence.OfProgramme(plan, [Home.Done(1), Home.Done(2)], Home.Start, Home.Day(2));
        Assert.Equal((2, 2, 0), (ahead.Due, ahead.Done, ahead.Unknown));
        var fourth = Adherence.OfProgramme(plan, [Home.Done(1), Home.Done(2), Home.Done(3), Home.Done(4)], Home.Start, Home.Day(7));
        Assert.Equal((3, 3, 1), (fourth.Due, fourth.Done, fourth.Extra));
        var missedAhead = Adherence.OfProgramme(plan, [Home.Missed(1)], Home.Start, Home.Day(1));
        Assert.Equal(0, missedAhead.Due);
    }

    [Fact]
    public void One_session_serves_all_exercises_of_the_day()
    {
        var plan = new[] { Home.Exercise("pegs"), Home.Exercise("coins", Home.Daily() with { Frequency = 2 }), Home.Exercise("keys", Home.Daily() with { Days = [DayOfWeek.Monday] }) };
        Assert.Equal(14, Adherence.OfProgramme(plan, [], Home.Start, Home.Day(7)).Due);
    }

    [Fact]
    public void An_open_week_is_served_by_the_sessions_of_fixed_days()
    {
        var plan = new[] { Home.Exercise("pegs", Home.Daily() with { Frequency = 3, Unit = PeriodUnit.Week }), Home.Exercise("coins", Home.Daily() with { Days = [DayOfWeek.Monday, DayOfWeek.Thursday] }) };
        Assert.Equal(3, Adherence.OfProgramme(plan, [], Home.Start, Home.Day(7)).Due);
    }

    [Fact]
    public void An_exercise_is_done_skipped_missed_or_unknown()
    {
        var reports = new[]
        {
            Home.Done(1, Home.Good(1)),
            Home.Done(2, Home.Good(2) with { Skipped = NotDoneReason.Pain }),
            Home.Missed(3),
            Home.Done(4, Home.Good(4, "coins")),
        };
        var found = Adherence.OfExercise("pegs", [Home.Exercise(), Home.Exercise("coins")], reports, Home.Start, Home.Day(4));
        Assert.Equal((4, 1, 2, 1), (found.Due, found.Done, found.NotDone, found.Unknown));
        Assert.Equal(["pegs/plan", "result/pegs/1", "result/pegs/2", "missed/3"], found.Evidence);
    }

    [Fact]
    public void A_session_with_every_exercise_skipped_is_not_done()
    {
        var all = Home.Done(1, Home.Good(1) with { Skipped = NotDoneReason.Fatigue });
        var some = Home.Done(2, Home.Good(2) with { Skipped = NotDoneReason.Fatigue }, Home.Good(2, "coins"));
        var found = Adherence.OfProgramme([Home.Exercise()], [all, some], Home.Start, Home.Day(2));
        Assert.Equal((1, 1), (found.Done, found.NotDone));
    }

    [Fact]
    public void A_day_reported_both_ways_counts_as_done()
    {
        var found = Adherence.OfProgramme([Home.Exercise()], [Home.Missed(1), Home.Done(1)], Home.Start, Home.Day(1));
        Assert.Equal((1, 1, 0), (found.Due, found.Done, found.NotDone));
    }

    [Fact]
    public void A_programme_revised_in_mid_week_asks_for_each_version_in_its_time()
    {
        var first = Home.Exercise();
        var second = Home.Exercise(schedule: Home.Daily(Home.Day(4)) with { Frequency = 2 }) with { Evidence = "pegs/plan/2" };
        var found = Adherence.OfExercise("pegs", [second, first], [], Home.Start, Home.Day(7));
        Assert.Equal(3 + 4 * 2, found.Due);
        Assert.Equal(["pegs/plan", "pegs/plan/2"], found.Evidence);
    }

    [Fact]
    public void Paused_days_are_not_due()
    {
        var plan = new[] { Home.Exercise(schedule: Home.Daily() with { Pauses = [new(Home.Day(2), Home.Day(4), "holiday")] }) };
        Assert.Equal(4, Adherence.OfProgramme(plan, [], Home.Start, Home.Day(7)).Due);
    }

    [Fact]
    public void Reports_outside_the_span_do_not_count()
    {
        var found = Adherence.OfProgramme([Home.Exercise()], [Home.Done(1), Home.Done(3), Home.Done(9)], Home.Day(2), Home.Day(4));
        Assert.Equal((3, 1, 0), (found.Due, found.Done, found.Extra));
    }
}
