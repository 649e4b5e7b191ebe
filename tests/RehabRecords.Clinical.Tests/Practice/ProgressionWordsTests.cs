namespace RehabRecords.Clinical.Tests;

/// <summary>What a clinician reads beside a suggestion: the reason, every input, whose limit it was and the reports it stands on. Limits: common practice, no source.</summary>
public class ProgressionWordsTests
{
    private static readonly Grading Smaller = new(GradingDirection.Harder, GradingDimension.Object, "smaller pegs");
    private static readonly Grading Larger = new(GradingDirection.Easier, GradingDimension.Object, "larger pegs");

    public static TheoryData<string, string, string, Func<ExerciseReport, ExerciseReport>> Reasons => new()
    {
        { "advance-all-met", "reports-needed", "the last 3 reports are successes, pain and exertion are within the limits, and adherence is at least 70 %", r => r },
        { "step-back-pain", "pain-step-back", "pain of 7 in the latest session reaches the limit of 6", r => r with { PainAfter = 7 } },
        { "hold-mixed", "success-share", "not all of the last reports are successes", r => r with { Quality = Quality.PartlyMet } },
        { "hold-incomplete-report", "reports-needed", "one of the last reports gives no amount or no quality", r => r with { Quality = null } },
        { "hold-incomplete-report", "reports-needed", "one of the last reports gives no pain during the exercise", r => r with { PainDuring = null } },
        { "hold-incomplete-report", "reports-needed", "one of the last reports gives no pain before the exercise", r => r with { PainBefore = null, PainDuring = 3 } },
        { "hold-incomplete-report", "reports-needed", "one of the last reports gives no exertion", r => r with { Exertion = null } },
        { "hold-pain", "pain-during-most", "pain of 5 during the exercise is above 3", r => r with { PainBefore = 5, PainDuring = 5 } },
        { "hold-pain-rise", "pain-rise", "pain rose by 2 during the exercise", r => r with { PainBefore = 1, PainDuring = 3 } },
        { "hold-mixed-scales", "reports-needed", "the last reports use different exertion scales, which are not compared", r => r with { Exertion = new(ExertionScale.SixToTwenty, 11) } },
        { "hold-exertion", "exertion-most-0-10", "exertion of 4.5 is above 4", r => r with { Exertion = new(ExertionScale.ZeroToTen, 4.5m) } },
        { "hold-fatigue", "fatigue-rise", "new fatigue: 5, and 2 the time before", r => r with { Fatigue = 5 } },
        { "hold-pain", "pain-during-most", "pain of 5 during the exercise is above 3", r => r with { PainBefore = 5, PainDuring = 5, Exertion = null, Fatigue = 9 } },
        { "hold-exertion", "exertion-most-0-10", "exertion of 9 is above 4", r => r with { Exertion = new(ExertionScale.ZeroToTen, 9), Fatigue = 9 } },
    };

    [Theory]
    [MemberData(nameof(Reasons))]
    public void The_reason_and_whose_limit_it_was(string rule, string limit, string reason, Func<ExerciseReport, ExerciseReport> last)
    {
        // The clinic sets the one limit to what ships, so that only the rule that stands on it names the clinic.
        var clinics = ProgressionRules.Default.With("1-clinic", new Dictionary<string, decimal> { [limit] = ProgressionRules.Default[limit] });
        SessionReport[] reports = [Home.Done(1, Home.Good(1)), Home.Done(2, Home.Good(2)), Home.Done(3, last(Home.Good(3)))];
        var found = Suggest(reports, rules: clinics);
        Assert.Equal((rule, reason), (found.Rule, found.Reason));
        Assert.Equal("set by the clinic (1-clinic)", found.Source.Citation);
        Assert.Equal("common practice", Suggest(reports).Source.Citation);
    }

    [Fact]
    public void Rules_that_look_further_back_say_so_too()
    {
        Reads("hold-locked", "a clinician has locked the level", Suggest(Good(1, 2, 3), exercise: Planned() with { Locked = true }));
        Reads("hold-missing-report", "of the last 3 occasions one or more have no report", Suggest(Good(1, 2, 4), 4));
        Reads("hold-few-reports", "2 of 3 reports needed at this level so far", Suggest(Good(1, 2), 2));
        Reads("hold-gap", "8 days in a row without a report", Suggest(Good([.. Enumerable.Range(9, 32)]), 40));
        Reads("hold-adherence", "known adherence is 64 % of what was due in 14 days, below 70 %",
            Suggest([.. Enumerable.Range(1, 5).Select(day => Home.Missed(day)), .. Good([.. Enumerable.Range(6, 9)])], 14));
        Reads("step-back-failures", "2 sessions in a row below 50 % of what was prescribed, below the quality criterion, or skipped as too hard",
            Suggest([.. Good(1), .. new[] { 2, 3 }.Select(day => Home.Done(day, Home.Good(day) with { Repetitions = 9 }))]));
        Reads("step-back-pain-lasting", "pain rose from 1 to 3 and was still 4 before the next session, a day or more later",
            Suggest([Home.Done(1, Home.Good(1) with { PainAfter = 3 }), Home.Done(2, Home.Good(2) with { PainBefore = 4 })], 2));

        static void Reads(string rule, string reason, ProgressionSuggestion found) => Assert.Equal((rule, reason), (found.Rule, found.Reason));
    }

    [Theory]
    [InlineData("hold-adherence", "adherence-least")]
    [InlineData("hold-gap", "longest-gap-days")]
    [InlineData("step-back-failures", "failures-in-a-row")]
    [InlineData("step-back-pain-lasting", "pain-rise")]
    [InlineData("hold-exertion", "exertion-most-6-20")]
    [InlineData("hold-few-reports", "reports-needed-low-risk")]
    public void The_limit_of_a_rule_that_looks_back_or_at_the_exercise_is_the_one_named(string rule, string limit)
    {
        var clinics = ProgressionRules.Default.With("1-clinic", new Dictionary<string, decimal> { [limit] = ProgressionRules.Default[limit] });
        var found = rule switch
        {
            "hold-adherence" => Suggest([.. Enumerable.Range(1, 5).Select(day => Home.Missed(day)), .. Good([.. Enumerable.Range(6, 9)])], 14, rules: clinics),
            "hold-gap" => Suggest(Good([.. Enumerable.Range(9, 32)]), 40, rules: clinics),
            "step-back-failures" => Suggest([.. new[] { 1, 2 }.Select(day => Home.Done(day, Home.Good(day) with { Quality = Quality.NotMet }))], 2, rules: clinics),
            "step-back-pain-lasting" => Suggest([Home.Done(1, Home.Good(1) with { PainAfter = 3 }), Home.Done(2, Home.Good(2) with { PainBefore = 4 })], 2, rules: clinics),
            "hold-exertion" => Suggest([.. Good(1, 2, 3).Select(s => s with { Exercises = [s.Exercises[0] with { Exertion = new(ExertionScale.SixToTwenty, 15) }] })], rules: clinics),
            _ => Suggest(Good(1), 1, Planned() with { LowRisk = true }, clinics),
        };
        Assert.Equal((rule, "set by the clinic (1-clinic)"), (found.Rule, found.Source.Citation));
    }

    [Fact]
    public void A_limit_with_a_half_is_shown_with_it()
    {
        var clinics = ProgressionRules.Default.With("1-clinic", new Dictionary<string, decimal> { ["pain-during-most"] = 2.5m, ["pain-step-back"] = 4.5m });
        SessionReport[] Pain(int pain) => [.. Good(1, 2), Home.Done(3, Home.Good(3) with { PainBefore = pain, PainDuring = pain })];
        Assert.Equal("pain of 3 during the exercise is above 2.5", Suggest(Pain(3), rules: clinics).Reason);
        Assert.Equal("pain of 5 in the latest session reaches the limit of 4.5", Suggest(Pain(5), rules: clinics).Reason);
    }

    [Fact]
    public void Every_input_is_shown_and_what_was_not_reported_is_said_to_be_so()
    {
        var last = Home.Good(3) with { PainBefore = 0, PainDuring = 2, PainAfter = 1, Exertion = new(ExertionScale.SixToTwenty, 12), Repetitions = 15 };
        Assert.Equal(
        [
            new("last reports", "partly (75 %), success (100 %), success (100 %)"), new("reports needed", "3"), new("pain before, during, after", "0, 2, 1"), new("exertion", "12 (6 to 20)"),
            new("fatigue", "2"), new("adherence, last 14 days", "100 % to 100 %"), new("longest run without a report", "0 days"), new("locked", "no"),
        ], Suggest([.. Good(1, 2), Home.Done(3, last)]).Inputs);
        Assert.Equal(
        [
            new("last reports", "none"), new("reports needed", "2"), new("pain before, during, after", "not reported, not reported, not reported"), new("exertion", "not reported"),
            new("fatigue", "not reported"), new("adherence, last 14 days", "nothing was due"), new("longest run without a report", "0 days"), new("locked", "yes"),
        ], Suggest([], 1, Planned() with { LowRisk = true, Locked = true, Schedule = Home.Daily() with { Days = [DayOfWeek.Friday] } }).Inputs);
        Assert.Equal(
        [
            new("last reports", "no report, no report, incomplete report"), new("reports needed", "3"), new("pain before, during, after", "1, 1, 1"), new("exertion", "3 (0 to 10)"),
            new("fatigue", "2"), new("adherence, last 14 days", "25 % to 100 %"), new("longest run without a report", "2 days"), new("locked", "no"),
        ], Suggest([Home.Done(1, Home.Good(1) with { Repetitions = null })], 4).Inputs);
        Assert.Equal("not done, failure, failure (45 %)",
            Suggest([Home.Done(1, Home.Good(1) with { Repetitions = 9 }), Home.Done(2, Home.Good(2) with { Skipped = NotDoneReason.TooHard }), Home.Missed(3)]).Inputs[0].Value);
    }

    [Fact]
    public void All_reports_a_rule_stands_on_are_named_however_far_back()
    {
        ExerciseReport Hard(int day) => Home.Good(day) with { Skipped = NotDoneReason.TooHard, Repetitions = null };
        var failures = Suggest([Home.Done(1, Hard(1)), Home.Missed(2), Home.Missed(3), Home.Missed(4), Home.Done(5, Hard(5))], 5);
        Assert.Equal("step-back-failures", failures.Rule);
        Assert.Equal(["pegs/plan", "result/pegs/5", "missed/4", "missed/3", "result/pegs/1"], failures.Evidence);

        var tired = Suggest([.. Enumerable.Range(1, 6).Select(day => Home.Done(day, Home.Good(day) with { Fatigue = day switch { 1 => 2, 6 => 5, _ => null } }))], 6);
        Assert.Equal("hold-fatigue", tired.Rule);
        Assert.Equal(["pegs/plan", "result/pegs/6", "result/pegs/5", "result/pegs/4", "result/pegs/1"], tired.Evidence);

        var pain = Suggest([Home.Done(1, Home.Good(1) with { PainAfter = 4 }), Home.Missed(2), Home.Missed(3), Home.Missed(4), Home.Done(5, Home.Good(5) with { PainBefore = 4 })], 5);
        Assert.Equal("step-back-pain-lasting", pain.Rule);
        Assert.Contains("result/pegs/1", pain.Evidence);

        var seldom = Suggest([.. Enumerable.Range(1, 5).Select(day => Home.Missed(day)), .. Good([.. Enumerable.Range(6, 9)])], 14);
        Assert.Equal("hold-adherence", seldom.Rule);
        Assert.Equal(15, seldom.Evidence.Count);
    }

    [Fact]
    public void Three_reports_at_least_are_named_and_more_where_more_are_needed()
    {
        var clinics = ProgressionRules.Default.With("1-clinic", new Dictionary<string, decimal> { ["reports-needed"] = 4 });
        Assert.Equal(5, Suggest(Good(1, 2, 3, 4, 5), 5, rules: clinics).Evidence.Count);
        Assert.Equal(4, Suggest(Good(1, 2, 3, 4, 5), 5, Planned() with { LowRisk = true }).Evidence.Count);
    }

    [Fact]
    public void Reports_before_the_level_began_or_after_the_day_do_not_count_and_practice_beyond_what_was_due_does()
    {
        var second = Planned() with { Schedule = Home.Daily(Home.Day(3)) };
        Assert.Equal("success (100 %), success (100 %), success (100 %)", Suggest([.. Good(1, 2, 3, 4, 5), Home.Done(6, Home.Good(6) with { Quality = Quality.NotMet })], 5, second).Inputs[0].Value);
        Assert.Equal("hold-few-reports", Suggest(Good(1, 2, 3, 4), 4, second).Rule);
        // Twice on day 2 though once was due: the later hour is the newer report.
        var late = Home.Done(2, 18, Home.Good(2) with { Repetitions = 12, Evidence = "late" });
        Assert.Equal("partly (60 %), success (100 %), success (100 %)", Suggest([late, .. Good(1, 2)], 2).Inputs[0].Value);
        Assert.Equal("success (100 %), partly (60 %), success (100 %)",
            Suggest([late with { DoneAt = Home.At(2, 8) }, .. Good(1, 2)], 2).Inputs[0].Value);
    }

    [Fact]
    public void Adherence_is_counted_from_the_first_day_of_the_level_or_the_last_fourteen_days()
    {
        string Known(int asOf, params int[] days) => Suggest(Good(days), asOf).Inputs[5].Value;
        Assert.Equal("50 % to 100 %", Known(2, 2));
        Assert.Equal("0 % to 100 %", Known(15, 1));
        Assert.Equal("7 % to 100 %", Known(15, 2));
    }

    [Fact]
    public void Open_flags_are_named_oldest_first_and_the_source_says_that_safety_stops()
    {
        var found = Assert.Single(Progression.Suggest(new([Planned()], Good(1, 2, 3),
            [new("dizziness", Home.At(2), "b"), new("chest-pain", Home.At(2), "a"), new("something-new", Home.At(1), "c")], Home.Day(3), 5)));
        Assert.Equal(["c", "a", "b", "pegs/plan"], found.Evidence.Take(4));
        Assert.Equal($"open red flag: something-new, {SafetyScreen.Find("chest-pain")!.Title}, {SafetyScreen.Find("dizziness")!.Title}; progression is frozen until a clinician clears it with a reason", found.Reason);
        Assert.Equal("any red flag stops until a clinician reviews it; common practice", found.Source.Citation);
    }

    [Fact]
    public void Without_an_easier_grading_the_suggestion_says_so() =>
        Assert.EndsWith("; no easier grading is written for this exercise", Suggest([.. Good(1, 2), Home.Done(3, Home.Good(3) with { PainDuring = 8 })], exercise: Planned() with { Gradings = [Smaller] }).Reason);

    [Fact]
    public void Problems_of_a_decision_say_what_would_do()
    {
        var stopped = Assert.Single(Progression.Suggest(new([Planned()], Good(1, 2, 3), [new("chest-pain", Home.At(2), "f")], Home.Day(3), 5)));
        Assert.Equal(
        [
            "by is missing; allowed: a name and role. Say which clinician decided.",
            "reason is missing; allowed: a reason in words. Say why the suggestion was not followed.",
            "chosen is advance; allowed: hold, step-back or stop-and-review while a red flag is open. Clear the flag first, with a reason.",
            "gradings is 2 gradings; allowed: at most one: one step in one dimension. Choose one.",
            "gradings is harder, easier; allowed: harder. Choose a grading that fits the decision.",
        ], new ProgressionDecision(stopped, Suggestion.Advance, [Smaller, Larger], "", Home.At(4), null).Problems().Select(p => p.Message));
        Assert.Equal(["gradings is harder; allowed: none. Choose a grading that fits the decision."],
            new ProgressionDecision(stopped, Suggestion.StopAndReview, [Smaller], "R", Home.At(4), null).Problems().Select(p => p.Message));
    }

    [Fact]
    public void A_limit_may_be_set_to_either_end_of_its_range_and_failure_may_equal_success()
    {
        foreach (var limit in ProgressionRules.Default.Limits)
            foreach (var end in new[] { limit.From, limit.To })
                Assert.Equal(end, ProgressionRules.Default.With("2", new Dictionary<string, decimal> { [limit.Id] = end, ["success-share"] = limit.Id == "success-share" ? end : 0.8m, ["failure-share"] = limit.Id == "failure-share" ? end : 0.5m })[limit.Id]);
        Assert.Equal(0.8m, ProgressionRules.Default.With("2", new Dictionary<string, decimal> { ["failure-share"] = 0.8m })["failure-share"]);
    }

    [Theory]
    [InlineData("1", "reports-needed", 4, "version is 1; allowed: a version other than 1. Name the clinic's own version.")]
    [InlineData("2", "reports-needed", 11, "reports-needed is 11; allowed: 2 to 10 reports. Choose a value in this range.")]
    [InlineData("2", "success-share", 0.4, "success-share is 0.4; allowed: 0.5 to 1 share. Choose a value in this range.")]
    [InlineData("2", "pains", 1, "pains is 1; allowed: one of reports-needed, reports-needed-low-risk, success-share, failure-share, failures-in-a-row, pain-during-most, pain-step-back, "
        + "pain-rise, exertion-most-0-10, exertion-most-6-20, fatigue-rise, adherence-least, adherence-days, longest-gap-days, over-practice-share. Use the id of a limit.")]
    [InlineData("2", "both", 0, "failure-share is 0.7; allowed: at most the success-share of 0.6. Lower it.")]
    public void A_refused_limit_says_what_would_do(string version, string id, double value, string message) =>
        Assert.Equal(message, Assert.Throws<UnfitInputException>(() => ProgressionRules.Default.With(version, id == "both"
            ? new Dictionary<string, decimal> { ["failure-share"] = 0.7m, ["success-share"] = 0.6m }
            : new Dictionary<string, decimal> { [id] = (decimal)value })).Message);

    private static PlannedExercise Planned() => Home.Exercise() with { Gradings = [Smaller, Larger] };

    private static SessionReport[] Good(params int[] days) => [.. days.Select(day => Home.Done(day, Home.Good(day)))];

    private static ProgressionSuggestion Suggest(IReadOnlyList<SessionReport> reports, int asOf = 3, PlannedExercise? exercise = null, ProgressionRules? rules = null) =>
        Assert.Single(Progression.Suggest(new([exercise ?? Planned()], reports, [], Home.Day(asOf), 5), rules));
}
