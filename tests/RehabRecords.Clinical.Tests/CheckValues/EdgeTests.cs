namespace RehabRecords.Clinical.Tests;

/// <summary>Doses, lines, goals and norms at their edges. All numbers are computed by hand.</summary>
public class EdgeTests
{
    private static readonly DateTimeOffset Start = new(2026, 3, 2, 10, 0, 0, TimeSpan.Zero);

    [Fact]
    public void A_dose_beyond_plan_or_without_a_planned_amount_names_the_amount_alone()
    {
        // Only minutes are prescribed and repetitions reported, and the other way round.
        Assert.Equal("Exercise pegs, week 1: 20 repetitions, 12.5 minutes.", OneWeek(new(1), Home.Done(1, Home.Good(1) with { Minutes = 12.5m })).Text);
        Assert.Equal("Exercise pegs, week 1: 20 of 40 repetitions (50 %), 5 minutes, 1 of 2 occasions without an amount.",
            OneWeek(new(2, 10), Home.Done(1, Home.Good(1) with { Minutes = 5 }), Home.Done(2, Home.Good(2) with { Repetitions = null })).Text);
    }

    [Fact]
    public void A_session_is_without_an_amount_only_when_none_of_its_results_gives_one()
    {
        var both = Home.Done(1, Home.Good(1), Home.Good(1) with { Repetitions = null, Evidence = "bare" });
        Assert.Equal((1, 0, 20), (OneWeek(new(2, 10), both).Occasions, OneWeek(new(2, 10), both).WithoutAmount, OneWeek(new(2, 10), both).Repetitions));
        // The order of what is known and unknown never matters to a sum.
        Assert.Equal(20, OneWeek(new(2, 10), Home.Done(1, Home.Good(1)), Home.Done(2, Home.Good(2) with { Repetitions = null })).Repetitions);
    }

    [Fact]
    public void Results_before_the_first_day_after_the_last_or_of_a_missed_session_give_no_dose()
    {
        var missed = Home.Missed(1) with { Exercises = [Home.Good(1) with { Repetitions = 7 }] };
        var dose = Assert.Single(Dose.PerWeek([Home.Exercise()], [missed, Home.Done(0, Home.Good(0)), Home.Done(2, Home.Good(2)), Home.Done(4, Home.Good(4))], Home.Day(3)));
        Assert.Equal((20, 1), (dose.Repetitions, dose.Occasions));
    }

    [Fact]
    public void Over_practice_shows_in_minutes_too_and_by_the_clinics_own_share()
    {
        var dose = OneWeek(new(1, null, 10), Home.Done(1, Home.Good(1) with { Repetitions = null, Minutes = 33 }), Home.Done(2, Home.Good(2) with { Repetitions = null, Minutes = 1 }));
        Assert.True(dose.OverPractised());
        Assert.False(dose.OverPractised(ProgressionRules.Default.With("2", new Dictionary<string, decimal> { ["over-practice-share"] = 1.7m })));
    }

    [Fact]
    public void A_week_neither_due_nor_done_is_left_out_and_practice_after_the_end_is_of_the_last_version()
    {
        var first = Home.Exercise(schedule: Home.Daily() with { End = Home.Day(7) });
        Assert.Equal([1, 3], Dose.PerWeek([first], [Home.Done(15, Home.Good(15))], Home.Day(21)).Select(d => d.Week));
        var second = Home.Exercise(schedule: Home.Daily(Home.Day(22)) with { End = Home.Day(28) }) with { Title = "Pegs, harder", Evidence = "pegs/plan/2" };
        var late = Dose.PerWeek([first, second], [Home.Done(36, Home.Good(36))], Home.Day(42));
        Assert.Equal([(1, "Exercise pegs"), (4, "Pegs, harder"), (6, "Pegs, harder")], late.Select(d => (d.Week, d.Title)));
        Assert.Equal(["pegs/plan/2", "result/pegs/36"], late[^1].Evidence);
        // A week without an occurrence in which a version holds is that version's, not the next one's.
        var monday = Home.Exercise(schedule: Home.Daily() with { Days = [DayOfWeek.Monday], Period = 2, Unit = PeriodUnit.Week, End = Home.Day(14) });
        Assert.Equal("pegs/plan", Dose.PerWeek([monday, second], [Home.Done(9, Home.Good(9))], Home.Day(28))[1].Evidence[0]);
    }

    [Fact]
    public void Reports_of_a_week_are_named_in_order_of_the_hour()
    {
        var dose = OneWeek(new(2, 10), Home.Done(2, Home.Good(2)), Home.Done(1, 18, Home.Good(1) with { Evidence = "c" }), Home.Done(1, 8, Home.Good(1) with { Evidence = "z" }, Home.Good(1) with { Evidence = "a" }));
        Assert.Equal(["pegs/plan", "a", "z", "c", "result/pegs/2"], dose.Evidence);
    }

    [Fact]
    public void A_line_needs_two_places_and_its_interval_one_slope_to_spare()
    {
        var line = TheilSen.Fit([0, 2], [1, 5])!;
        Assert.Equal((2.0, 1.0, 1, null), (line.Slope, line.Intercept, line.Pairs, line.Low));
        // Fifteen slopes: ten of 1, then 3, 3.5, 4.33, 6 and 11. (15 - 1.96 * sqrt(15 * 17 / 9)) / 2 = 2.28, so the second from either end.
        var six = TheilSen.Fit([1, 2, 3, 4, 5, 6], [1, 2, 3, 4, 5, 16])!;
        Assert.Equal((1.0, 1.0, 6.0), (six.Slope, six.Low, six.High));
    }

    [Fact]
    public void A_trend_tells_its_interval_by_the_week_and_a_very_small_p_as_such()
    {
        var points = Enumerable.Range(0, 12).Select(i => new TrendPoint(Start.AddDays(7 * i), 2.0 * i, $"e{i:00}")).ToList();
        var trend = Trend.Of(points, Direction.HigherIsBetter, "kg");
        Assert.Equal((2.0, 2.0, 2.0), (Math.Round(trend.SlopePerWeek!.Value, 9), Math.Round(trend.LowPerWeek!.Value, 9), Math.Round(trend.HighPerWeek!.Value, 9)));
        Assert.Contains("p below 0.001, 12 points; descriptive only.", trend.Text);
        var five = Trend.Of([.. points.Take(5)], Direction.HigherIsBetter, "kg");
        Assert.Contains("no interval from so few points", five.Text);
        // Points of one instant are taken by value, then by address, so that the order of arrival does not matter.
        TrendPoint[] twins = [new(Start, 2, "a"), new(Start, 1, "c"), new(Start, 1, "b"), .. points.Skip(1).Take(4)];
        Assert.Equal(["b", "c", "a"], Trend.Of(twins, Direction.HigherIsBetter, "kg").Evidence.Take(3));
    }

    [Fact(DisplayName = "computed: five points with S 8 have an exact p of .0833, which shows no trend although they rise")]
    public void A_rise_that_chance_explains_is_no_trend()
    {
        double[] values = [1, 2, 3, 5, 4];
        var trend = Trend.Of([.. values.Select((v, i) => new TrendPoint(Start.AddDays(i), v, "e"))], Direction.HigherIsBetter, "kg");
        Assert.Equal((8, TrendVerdict.NoTrendShown), (trend.S, trend.Verdict));
        Assert.True(trend.SlopePerWeek > 0);
    }

    [Fact]
    public void Goals_are_named_by_title_where_there_is_one_and_one_of_weight_0_is_allowed()
    {
        // Weights 1 and 0 with levels 1 and -2: the second counts for nothing, 50 + 10 / sqrt(0.7 + 0.3) = 60.
        Assert.Equal(60, GoalAttainment.TScore([1, -2], [1, 0])!.Value, 12);
        // Weights 2 and 1, levels 1 and 0: 50 + 20 / sqrt(0.7 * 5 + 0.3 * 9) = 58.0322.
        Assert.Equal(58.0322, GoalAttainment.TScore([1, 0], [2, 1])!.Value, 4);
    }

    [Theory]
    [InlineData(1986, 3, 2, "40")]
    [InlineData(1986, 3, 3, "35")]
    public void A_norm_goes_by_completed_years_and_the_birthday_is_the_first_day_of_the_next(int year, int month, int day, string from)
    {
        var found = Norms.Compare(new("grip-strength", Start, MeasureStatus.Completed, 40, Side.Right, "e"), new(BirthDate: new(year, month, day), Sex: Sex.Male), "mathiowetz-1985-grip");
        Assert.Contains($"for male, {from} to ", found.Text);
        Assert.Contains(" years, right hand. ", found.Text);
    }

    [Fact]
    public void A_value_is_rounded_half_up_with_one_decimal_more_where_it_has_one_and_sent_value_goes_before_trials()
    {
        var blocks = MeasureCatalogue.Default.Get("box-and-block");
        Assert.Equal(["6", "5.5", "5.5", "-5.5"], new[] { 6m, 5.5m, 5.45m, -5.5m }.Select(blocks.Format));
        Assert.Equal(21, blocks.ValueOf(new("box-and-block", Start, MeasureStatus.Completed, 21, Side.Left, "e") { Trials = [19] }));
        Assert.Equal(12.3m, MeasureCatalogue.Default.Get("wolf-time").Summary([30, 12.3m, 2]));
        Assert.Equal("unit is min; allowed: kgf or [lbf_av] or N. Record the value in one of these units.",
            Assert.Throws<UnfitInputException>(() => MeasureCatalogue.Default.Get("grip-strength").ValueOf(new("grip-strength", Start, MeasureStatus.Completed, 1, Side.Left, "e") { Unit = "min" })).Message);
    }

    [Fact]
    public void Both_reporting_standards_are_named_with_their_own_source_and_every_gap_with_its_fields()
    {
        var cert = ReportingCheck.Score(ReportingStandard.Cert, ReportingCheck.Fields);
        Assert.Equal("19 of 19 lines of CERT are filled.", cert.Text);
        Assert.Contains("Slade", cert.Source.Citation);
        var none = ReportingCheck.Score(ReportingStandard.Tidier, []);
        Assert.StartsWith($"0 of {none.Lines} lines of TIDieR are filled. Missing: ", none.Text);
        Assert.Contains("Hoffmann", none.Source.Citation);
        foreach (var gap in none.Gaps)
            Assert.Contains($"{gap.Item.Item} {gap.Item.Text} ({string.Join(", ", gap.Item.Fields)})", none.Text);
        Assert.Contains(none.Gaps, gap => gap.Missing.Count > 1);
        Assert.Equal($"one of {string.Join(", ", ReportingCheck.Fields)}", Assert.Throws<UnfitInputException>(() => ReportingCheck.Score(ReportingStandard.Cert, ["mood"])).Problem.Allowed);
    }

    [Fact]
    public void The_reason_of_a_therapist_stands_beside_the_proposed_level()
    {
        var finding = StartingLevel.BandOf(new("arat", Start, MeasureStatus.Completed, 30, Side.Left, "e"));
        var choice = StartingLevel.Choose(null, "wants to write again", finding, [new(2, [finding.Band])]);
        Assert.EndsWith("; wants to write again", choice.Reason);
        Assert.StartsWith($"{finding.Text}: level 2 (", choice.Reason);
    }

    private static Dose OneWeek(Dosage dosage, params SessionReport[] reports) =>
        Assert.Single(Dose.PerWeek([Home.Exercise(dosage: dosage, schedule: Home.Daily())], reports, Home.Day(2)));
}
