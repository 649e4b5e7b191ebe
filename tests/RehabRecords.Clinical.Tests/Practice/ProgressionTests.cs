namespace RehabRecords.Clinical.Tests;

/// <summary>All limits here are common practice without a source, as the data says.</summary>
public class ProgressionTests
{
    private static readonly Grading Smaller = new(GradingDirection.Harder, GradingDimension.Object, "smaller pegs");
    private static readonly Grading Faster = new(GradingDirection.Harder, GradingDimension.Speed, "against the clock");
    private static readonly Grading Larger = new(GradingDirection.Easier, GradingDimension.Object, "larger pegs");

    [Fact]
    public void All_conditions_met_suggest_a_step_ahead_and_offer_the_harder_gradings()
    {
        var found = Suggest(Good3());
        Assert.Equal((Suggestion.Advance, "advance-all-met", "1"), (found.Suggestion, found.Rule, found.RuleSet));
        Assert.Equal([Smaller, Faster], found.Options);
        Assert.Equal(Mark.CommonPractice, found.Source.Mark);
        Assert.Equal(["pegs/plan", "result/pegs/3", "result/pegs/2", "result/pegs/1"], found.Evidence);
        Assert.Contains(found.Inputs, input => input is { Name: "last reports", Value: "success (100 %), success (100 %), success (100 %)" });
    }

    public static TheoryData<string, string, Func<ExerciseReport, ExerciseReport>> LastReportHolds => new()
    {
        { "hold-mixed", "79 % of the prescribed amount", r => r with { Repetitions = 15 } },
        { "hold-mixed", "quality partly met", r => r with { Quality = Quality.PartlyMet } },
        { "hold-mixed", "one failure alone is mixed", r => r with { Quality = Quality.NotMet } },
        { "hold-mixed", "skipped for lack of time", r => r with { Skipped = NotDoneReason.NoTime } },
        { "hold-incomplete-report", "no amount", r => r with { Repetitions = null } },
        { "hold-incomplete-report", "no quality", r => r with { Quality = null } },
        { "hold-incomplete-report", "no pain during", r => r with { PainDuring = null } },
        { "hold-incomplete-report", "no pain before, where it could have risen", r => r with { PainBefore = null, PainDuring = 2 } },
        { "hold-incomplete-report", "no exertion", r => r with { Exertion = null } },
        { "hold-pain", "pain 4 during", r => r with { PainBefore = 4, PainDuring = 4 } },
        { "hold-pain-rise", "pain up by 2", r => r with { PainBefore = 1, PainDuring = 3 } },
        { "hold-exertion", "exertion 4.5 of 10", r => r with { Exertion = new(ExertionScale.ZeroToTen, 4.5m) } },
        { "hold-mixed-scales", "the other exertion scale", r => r with { Exertion = new(ExertionScale.SixToTwenty, 11) } },
        { "hold-fatigue", "fatigue up by 2", r => r with { Fatigue = 4 } },
    };

    [Theory]
    [MemberData(nameof(LastReportHolds))]
    public void One_condition_missing_or_not_met_holds(string rule, string why, Func<ExerciseReport, ExerciseReport> change)
    {
        var found = Suggest([Home.Done(1, Home.Good(1)), Home.Done(2, Home.Good(2)), Home.Done(3, change(Home.Good(3)))]);
        Assert.True(found.Rule == rule, $"{why}: {found.Rule}, {found.Reason}");
        Assert.Equal(Suggestion.Hold, found.Suggestion);
        Assert.Empty(found.Options);
    }

    public static TheoryData<string, Func<ExerciseReport, ExerciseReport>> LastReportStillAdvances => new()
    {
        { "80 % of the prescribed amount exactly", r => r with { Repetitions = 16 } },
        { "pain 3 during, from 2", r => r with { PainBefore = 2, PainDuring = 3 } },
        { "no pain before, where it could not have risen by 2", r => r with { PainBefore = null, PainDuring = 1 } },
        { "exertion 4 of 10 exactly", r => r with { Exertion = new(ExertionScale.ZeroToTen, 4) } },
        { "fatigue up by 1", r => r with { Fatigue = 3 } },
        { "fatigue not reported", r => r with { Fatigue = null } },
    };

    [Theory]
    [MemberData(nameof(LastReportStillAdvances))]
    public void At_the_limit_still_advances(string why, Func<ExerciseReport, ExerciseReport> change)
    {
        var found = Suggest([Home.Done(1, Home.Good(1)), Home.Done(2, Home.Good(2)), Home.Done(3, change(Home.Good(3)))]);
        Assert.True(found.Suggestion == Suggestion.Advance, $"{why}: {found.Reason}");
    }

    [Theory]
    [InlineData(13, Suggestion.Advance)]
    [InlineData(14, Suggestion.Hold)]
    public void The_scale_of_6_to_20_has_its_own_limit(int value, Suggestion suggestion) => Assert.Equal(suggestion,
        Suggest([.. Enumerable.Range(1, 3).Select(day => Home.Done(day, Home.Good(day) with { Exertion = new(ExertionScale.SixToTwenty, value) }))]).Suggestion);

    [Fact(DisplayName = "common practice: a missing report in the last three holds, however good the others are")]
    public void Missing_data_can_only_hold()
    {
        var found = Suggest([Home.Done(1, Home.Good(1)), Home.Done(3, Home.Good(3)), Home.Done(4, Home.Good(4))], asOf: 4);
        Assert.Equal((Suggestion.Hold, "hold-missing-report"), (found.Suggestion, found.Rule));
        Assert.Contains(found.Inputs, input => input.Value.Contains("no report"));
    }

    [Fact]
    public void The_day_itself_is_not_late_yet()
    {
        Assert.Equal(Suggestion.Advance, Suggest(Good3(), asOf: 4).Suggestion);
        Assert.Equal("hold-missing-report", Suggest(Good3(), asOf: 5).Rule);
    }

    [Fact]
    public void A_missed_session_in_the_last_three_holds() => Assert.Equal("hold-mixed", Suggest([Home.Done(1, Home.Good(1)), Home.Missed(2), Home.Done(3, Home.Good(3))]).Rule);

    [Fact]
    public void Fewer_reports_than_needed_hold_and_a_low_risk_exercise_needs_two()
    {
        var two = new[] { Home.Done(1, Home.Good(1)), Home.Done(2, Home.Good(2)) };
        Assert.Equal("hold-few-reports", Suggest(two, asOf: 2).Rule);
        Assert.Equal(Suggestion.Advance, Suggest(two, asOf: 2, exercise: Planned() with { LowRisk = true }).Suggestion);
        Assert.Equal("hold-few-reports", Suggest([], asOf: 1).Rule);
    }

    [Fact]
    public void A_locked_level_holds() => Assert.Equal("hold-locked", Suggest(Good3(), exercise: Planned() with { Locked = true }).Rule);

    [Theory]
    [InlineData(9, Suggestion.Hold)]
    [InlineData(10, Suggestion.Advance)]
    public void Known_adherence_of_fourteen_days_must_reach_70_per_cent(int done, Suggestion suggestion)
    {
        // The last three days are good in both; the days before decide.
        var reports = Enumerable.Range(15 - done, done).Select(day => Home.Done(day, Home.Good(day)))
            .Concat(Enumerable.Range(1, 14 - done).Select(day => Home.Missed(day))).ToList();
        var found = Suggest(reports, asOf: 14);
        Assert.Equal(suggestion, found.Suggestion);
        if (suggestion == Suggestion.Hold)
            Assert.Equal("hold-adherence", found.Rule);
    }

    [Theory]
    [InlineData(7, "advance-all-met")]
    [InlineData(8, "hold-gap")]
    public void A_run_of_days_without_reports_holds_when_longer_than_a_week(int silent, string rule)
    {
        var first = 40 - 20 - silent;
        var reports = Enumerable.Range(1, 40).Where(day => day <= first || day > first + silent).Select(day => Home.Done(day, Home.Good(day))).ToList();
        Assert.Equal(rule, Suggest(reports, asOf: 40).Rule);
    }

    [Theory]
    [InlineData(5, Suggestion.Hold)]
    [InlineData(6, Suggestion.StepBack)]
    public void Pain_of_6_steps_back_and_offers_the_easier_gradings(int pain, Suggestion suggestion)
    {
        var found = Suggest([Home.Done(1, Home.Good(1)), Home.Done(2, Home.Good(2)), Home.Done(3, Home.Good(3) with { PainDuring = pain, PainBefore = 5 })]);
        Assert.Equal(suggestion, found.Suggestion);
        if (suggestion == Suggestion.StepBack)
            Assert.Equal(("step-back-pain", Larger), (found.Rule, Assert.Single(found.Options)));
    }

    [Fact]
    public void Pain_after_counts_as_well() => Assert.Equal("step-back-pain", Suggest([Home.Done(1, Home.Good(1) with { PainAfter = 6 })], asOf: 1).Rule);

    [Theory]
    [InlineData(9, 2, "step-back-failures", "49 %, twice in a row")]
    [InlineData(10, 2, "hold-few-reports", "50 % is not a failure")]
    [InlineData(9, 1, "hold-few-reports", "once")]
    public void Two_failures_in_a_row_step_back(int repetitions, int times, string rule, string why)
    {
        var reports = Enumerable.Range(1, times).Select(day => Home.Done(day, Home.Good(day) with { Repetitions = repetitions })).ToList();
        Assert.True(rule == Suggest(reports, asOf: times).Rule, why);
    }

    [Fact]
    public void Skipped_as_too_hard_twice_steps_back_and_a_missed_day_between_does_not_hide_it()
    {
        ExerciseReport Hard(int day) => Home.Good(day) with { Skipped = NotDoneReason.TooHard, Repetitions = null };
        Assert.Equal("step-back-failures", Suggest([Home.Done(1, Hard(1)), Home.Missed(2), Home.Done(3, Hard(3))]).Rule);
        Assert.Equal("step-back-failures", Suggest([Home.Missed(1, NotDoneReason.TooHard), Home.Missed(2, NotDoneReason.TooHard)], asOf: 2).Rule);
        Assert.NotEqual("step-back-failures", Suggest([Home.Missed(1), Home.Missed(2)], asOf: 2).Rule);
    }

    [Theory]
    [InlineData(3, 3, 24, true)]
    [InlineData(2, 3, 24, false)]
    [InlineData(3, 2, 24, false)]
    [InlineData(3, 3, 23, false)]
    public void A_rise_of_pain_that_lasts_a_day_steps_back(int after, int still, int hours, bool back)
    {
        var first = Home.Done(1, Home.Good(1) with { PainBefore = 1, PainAfter = after });
        var second = Home.Done(2, Home.Good(2) with { PainBefore = still }) with { DoneAt = Home.At(1).AddHours(hours) };
        Assert.Equal(back, Suggest([first, second], asOf: 2).Rule == "step-back-pain-lasting");
    }

    [Fact]
    public void An_open_red_flag_stops_whatever_else_is_reported()
    {
        var found = Suggest(Good3(), flags: [new("dizziness", Home.At(2), "flag/1")]);
        Assert.Equal((Suggestion.StopAndReview, "stop-open-flag"), (found.Suggestion, found.Rule));
        Assert.Contains("Dizziness", found.Reason);
        Assert.Contains("until a clinician clears it with a reason", found.Reason);
        Assert.Equal("flag/1", found.Evidence[0]);
        Assert.Empty(found.Options);
        // A code this version does not know is no reason to go on.
        Assert.Equal(Suggestion.StopAndReview, Suggest(Good3(), flags: [new("something-new", Home.At(2), "flag/2")]).Suggestion);
    }

    [Fact]
    public void The_programmes_own_pain_limit_is_kept_where_it_is_lower()
    {
        var reports = Enumerable.Range(1, 3).Select(day => Home.Done(day, Home.Good(day) with { PainBefore = 2, PainDuring = 2 })).ToList();
        Assert.Equal(Suggestion.Advance, Suggest(reports, limit: 2).Suggestion);
        Assert.Equal("hold-pain", Suggest(reports, limit: 1).Rule);
    }

    [Fact]
    public void Reports_of_an_earlier_level_do_not_count_towards_the_next_step()
    {
        var plan = new[] { Planned(), Planned() with { Schedule = Home.Daily(Home.Day(3)), Evidence = "pegs/plan/2" } };
        var found = Assert.Single(Progression.Suggest(new(plan, Good3(), [], Home.Day(3), 5)));
        Assert.Equal("hold-few-reports", found.Rule);
        Assert.Equal(["pegs/plan/2", "result/pegs/3"], found.Evidence);
    }

    [Fact]
    public void An_exercise_no_longer_in_force_gets_no_suggestion() =>
        Assert.Empty(Progression.Suggest(new([Planned() with { Schedule = Home.Daily() with { End = Home.Day(2) } }], Good3(), [], Home.Day(3), 5)));

    [Fact]
    public void Minutes_stand_in_where_only_minutes_are_prescribed()
    {
        var timed = Planned() with { Dosage = new(1, null, 10) };
        Assert.Equal(Suggestion.Advance, Suggest([.. Enumerable.Range(1, 3).Select(day => Home.Done(day, Home.Good(day) with { Repetitions = null, Minutes = 8 }))], exercise: timed).Suggestion);
        Assert.Equal("hold-mixed", Suggest([.. Enumerable.Range(1, 3).Select(day => Home.Done(day, Home.Good(day) with { Repetitions = null, Minutes = 7.9m }))], exercise: timed).Rule);
    }

    [Fact]
    public void Without_a_grading_the_suggestion_says_so() =>
        Assert.Contains("no harder grading is written", Suggest(Good3(), exercise: Planned() with { Gradings = [Larger] }).Reason);

    [Fact]
    public void A_clinic_sets_its_own_limits_under_its_own_version()
    {
        var rules = ProgressionRules.Default.With("1-clinic", new Dictionary<string, decimal> { ["reports-needed"] = 4 });
        var found = Assert.Single(Progression.Suggest(new([Planned()], Good3(), [], Home.Day(3), 5), rules));
        Assert.Equal(("hold-few-reports", "1-clinic"), (found.Rule, found.RuleSet));
        Assert.Contains("set by the clinic", rules.Limit("reports-needed").Source.Citation);
        Assert.Equal(3, ProgressionRules.Default["reports-needed"]);
    }

    [Theory]
    [InlineData("2", "no-such-limit", 1, "no-such-limit")]
    [InlineData("2", "reports-needed", 11, "reports-needed")]
    [InlineData("2", "reports-needed", 1, "reports-needed")]
    [InlineData("1", "reports-needed", 4, "version")]
    [InlineData(" ", "reports-needed", 4, "version")]
    public void Limits_out_of_range_are_refused(string version, string id, int value, string element) => Assert.Equal(element,
        Assert.Throws<UnfitInputException>(() => ProgressionRules.Default.With(version, new Dictionary<string, decimal> { [id] = value })).Problem.Element);

    [Fact]
    public void Failure_must_not_lie_above_success() => Assert.Equal("failure-share", Assert.Throws<UnfitInputException>(() =>
        ProgressionRules.Default.With("2", new Dictionary<string, decimal> { ["failure-share"] = 0.7m, ["success-share"] = 0.6m })).Problem.Element);

    [Fact]
    public void Every_limit_says_that_it_is_common_practice() =>
        Assert.All(ProgressionRules.Default.Limits, limit => Assert.Equal("common practice, no source", limit.Source.MarkText));

    [Fact]
    public void A_clinician_confirms_or_overrides_with_a_reason_by_one_step_in_one_dimension()
    {
        var advance = Suggest(Good3());
        ProgressionDecision Decide(Suggestion chosen, string? reason, params Grading[] gradings) => new(advance, chosen, gradings, "R. Fictional, physiotherapist", Home.At(4), reason);
        Assert.Empty(Decide(Suggestion.Advance, null, Smaller).Problems());
        Assert.Equal(["gradings"], Decide(Suggestion.Advance, null, Smaller, Faster).Problems().Select(p => p.Element));
        Assert.Equal(["gradings"], Decide(Suggestion.Advance, null, Larger).Problems().Select(p => p.Element));
        Assert.Equal(["reason"], Decide(Suggestion.Hold, " ").Problems().Select(p => p.Element));
        Assert.Empty(Decide(Suggestion.Hold, "tired this week").Problems());
        Assert.True(Decide(Suggestion.Hold, "tired this week").Overrides);
        Assert.Equal(["gradings"], Decide(Suggestion.Hold, "tired", Smaller).Problems().Select(p => p.Element));
        Assert.Equal(["by"], (Decide(Suggestion.Advance, null) with { By = "" }).Problems().Select(p => p.Element));

        var stopped = Suggest(Good3(), flags: [new("chest-pain", Home.At(2), "f")]);
        Assert.Equal(["chosen"], new ProgressionDecision(stopped, Suggestion.Advance, [], "R", Home.At(4), "feels fine").Problems().Select(p => p.Element));
        Assert.Empty(new ProgressionDecision(stopped, Suggestion.StepBack, [Larger], "R", Home.At(4), "reviewed").Problems());
    }

    private static PlannedExercise Planned() => Home.Exercise() with { Gradings = [Smaller, Faster, Larger] };

    private static SessionReport[] Good3() => [.. Enumerable.Range(1, 3).Select(day => Home.Done(day, Home.Good(day)))];

    private static ProgressionSuggestion Suggest(
        IReadOnlyList<SessionReport> reports, int asOf = 3, PlannedExercise? exercise = null, IReadOnlyList<OpenFlag>? flags = null, int limit = 5) =>
        Assert.Single(Progression.Suggest(new([exercise ?? Planned()], reports, flags ?? [], Home.Day(asOf), limit)));
}
