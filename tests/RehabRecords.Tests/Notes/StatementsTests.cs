using RehabRecords.Clinical;
using RehabRecords.Notes;
using RehabRecords.Progress;

namespace RehabRecords.Tests.Notes;

public class StatementsTests
{
    private static IReadOnlyList<Statement> Of(ProgrammeRecord record) =>
        NoteDraft.Statements(record, Findings.Of(record, MeasureCatalogue.Default, ClinicRules.Default));

    private static Statement The(ProgrammeRecord record, NoteRule rule) => Assert.Single(Of(record), s => s.Rule == rule);

    [Fact]
    public void Days_without_a_report_leave_two_bounds()
    {
        // Due by Friday 13 March: 2, 4, 6, 9, 11 and 13 March. Reported: four done, one missed; nothing of the 11th.
        var statement = The(HandMade.TwoWeeks(), NoteRules.Adherence);
        Assert.Equal("From 2 March 2026 to 13 March 2026, 6 home sessions were planned: 4 reported done, 1 reported missed, 1 without a report. "
            + "Adherence lies between 67 % and 83 %: 1 of 6 planned sessions has no report. "
            + "By the definition “more than 70 % of what was prescribed” (Mahmood A 2020 Physiother Res Int (SS-MAHE, n = 92)), "
            + "it cannot be said whether this is reached, since the bounds lie on both sides.", statement.Text);
        Assert.Equal([6, 4, 1, 1, 66.7m, 83.3m], statement.Values.Select(v => v.Number));
        Assert.Superset(new HashSet<string> { "Procedure/s1/_history/1", "Procedure/s3/_history/1" }, statement.Evidence.ToHashSet());
    }

    [Fact]
    public void With_every_report_in_adherence_is_one_number()
    {
        var record = HandMade.Programme(HandMade.Done("s1", HandMade.Start), HandMade.Missed("s2", HandMade.Start.AddDays(2), NotDoneReason.Unwell));
        Assert.Contains("Adherence is 50 % (1 of 2); every planned session has a report.", The(record, NoteRules.Adherence).Text);
        Assert.DoesNotContain(Of(record), s => s.Rule == NoteRules.AskAboutMissingReports);
    }

    [Fact]
    public void A_trend_and_measurement_error_may_disagree_and_both_are_said()
    {
        var record = HandMade.TrendAgainstError();
        Assert.StartsWith("Nine-Hole Peg Test, right (affected): improving trend over 6 results, −1.5 s a week (95 % interval ", The(record, NoteRules.MeasureTrend).Text);
        Assert.Contains("p = 0.017", The(record, NoteRules.MeasureTrend).Text);
        Assert.Equal(
            "Nine-Hole Peg Test, right (affected): the trend is consistent, but the change from first to last, 15.0 s, is within measurement error (32.8 s for the affected hand). Both are stated; neither decides alone.",
            The(record, NoteRules.TrendAndErrorDisagree).Text);
        var change = The(record, NoteRules.MeasureChanged);
        Assert.Contains("62.0 s on 2 March 2026, 47.0 s on 11 May 2026 (first and last of 6 results): 15.0 s less (better). Below the minimal detectable change (32.8 s): within measurement error.", change.Text);
        Assert.Contains("95 %", change.Text);
        Assert.Contains("Chen", change.Text);
        Assert.Equal(["Observation/peg-1/_history/1", "Observation/peg-6/_history/1"], change.Evidence);
    }

    [Theory]
    [InlineData("chest-pain", "Emergency: ")]
    [InlineData("pain-above-limit", "Urgent review: ")]
    public void An_urgent_flag_is_the_first_sentence_and_first_in_the_plan(string code, string opening)
    {
        var statements = Of(HandMade.TwoWeeks().WithFlag(code));
        Assert.Equal(NoteRules.UrgentFlag, statements[0].Rule);
        Assert.StartsWith(opening, statements[0].Text);
        Assert.Contains(SafetyScreen.Get(code).Text.TrimEnd('.'), statements[0].Text);
        Assert.Equal([$"Flag/flag-{code}/_history/1", "Procedure/s5/_history/1"], statements[0].Evidence);
        var first = statements.First(s => s.Section == NoteSection.Plan);
        Assert.Equal(NoteRules.FlagOutstanding, first.Rule);
        Assert.Contains("frozen until a registered clinician clears it", first.Text);
    }

    [Fact]
    public void While_a_flag_is_open_nothing_suggests_to_go_on()
    {
        var suggestions = Of(HandMade.TwoWeeks().WithFlag("chest-pain")).Where(s => s.Kind == RehabRecords.Terms.StatementKind.Suggestion && s.Rule != NoteRules.AskAboutMissingReports);
        Assert.All(suggestions, s => Assert.Equal(NoteRules.SuggestStop, s.Rule));
        Assert.NotEmpty(suggestions);
    }

    [Fact]
    public void A_cleared_flag_is_not_outstanding() =>
        Assert.DoesNotContain(Of(HandMade.TwoWeeks().WithFlag("chest-pain", open: false)), s => s.Rule == NoteRules.UrgentFlag || s.Rule == NoteRules.FlagOutstanding);

    [Fact]
    public void Words_are_quoted_with_who_said_them_and_a_clinicians_stay_apart()
    {
        var statements = Of(HandMade.TwoWeeks());
        Assert.Equal(
            ["On 2 March 2026 the person reported: “Pegs kept pinging off.”", "On 6 March 2026 the carer, Otto Fabulate, reported: “She had a bad night.”"],
            statements.Where(s => s.Rule == NoteRules.Words).Select(s => s.Text));
        var clinician = Assert.Single(statements, s => s.Text.Contains("grip opens late", StringComparison.Ordinal));
        Assert.Equal(NoteRules.ClinicianWords, clinician.Rule);
        Assert.Equal(NoteSection.Objective, clinician.Section);
    }

    [Fact]
    public void Suggestions_are_called_suggestions_and_the_caution_stands_beside_them()
    {
        var plan = Of(HandMade.TwoWeeks()).Where(s => s.Section == NoteSection.Plan).ToList();
        Assert.All(plan.Where(s => s.Kind == RehabRecords.Terms.StatementKind.Suggestion), s => Assert.StartsWith("Suggestion", s.Text));
        Assert.Contains(plan, s => s.Rule == NoteRules.SuggestionCaution);
        Assert.Contains(plan, s => s.Kind == RehabRecords.Terms.StatementKind.Suggestion && s.Text.Contains(" Rule ", StringComparison.Ordinal));
    }

    [Fact]
    public void What_was_not_recorded_is_said_and_never_zero()
    {
        Assert.Equal("Not recorded in the 14 days to 13 March 2026: effort in 1 of 4 results.", The(HandMade.TwoWeeks(), NoteRules.NotRecorded).Text);
        Assert.Equal(["Observation/s4-pegs/_history/1"], The(HandMade.TwoWeeks(), NoteRules.NotRecorded).Evidence);
    }

    [Fact]
    public void A_test_stopped_at_its_limit_is_no_result_and_a_later_time_is_a_change_of_category()
    {
        var record = HandMade.Programme() with
        {
            Measures =
            [
                HandMade.Peg("first", HandMade.Start, 0) with { Status = MeasureStatus.StoppedAtLimit, Value = null, TimeLimitSeconds = 100, PegsPlaced = 4 },
                HandMade.Peg("later", HandMade.Start.AddDays(21), 85),
            ],
        };
        var change = The(record, NoteRules.MeasureChanged);
        Assert.Contains("stopped at the time limit of 100 s, 4 pegs placed on 2 March 2026, 85.0 s on 23 March 2026. A change of category; no difference is computed.", change.Text);
        Assert.Empty(change.Values);
        var onlyFirst = record with { Measures = [record.Measures[0]] };
        Assert.Equal("Nine-Hole Peg Test, right (affected): stopped at the time limit of 100 s, 4 pegs placed on 2 March 2026. The limit is not a result.",
            The(onlyFirst, NoteRules.MeasureNotCompleted).Text);
    }

    [Fact]
    public void A_threshold_is_shown_as_published_though_the_measure_counts_whole_blocks()
    {
        MeasureResult Blocks(string id, int day, decimal value) =>
            HandMade.Peg(id, HandMade.Start.AddDays(day), value) with { Measure = "box-and-block", Evidence = $"Observation/{id}/_history/1" };

        var record = HandMade.Programme() with { Measures = [Blocks("b1", 0, 20), Blocks("b2", 7, 23), Blocks("b3", 14, 25)] };
        var text = The(record, NoteRules.MeasureChanged).Text;
        Assert.Contains("25 blocks/min on 16 March 2026 (first and last of 3 results): 5 blocks/min more (better). Below the minimal detectable change (5.5 blocks/min)", text);
        Assert.Contains("5.5 blocks/min", Findings.Of(record, MeasureCatalogue.Default, ClinicRules.Default).Changes[0].Text);
    }

    [Fact]
    public void Repetitions_rise_or_fall_and_are_not_called_better()
    {
        var record = HandMade.Programme([.. Enumerable.Range(0, 6).Select(i => HandMade.Done($"s{i}", HandMade.Start.AddDays(2 * i), r => r with { Repetitions = 10 + 2 * i, PainDuring = 6 - i }))]);
        var trends = Of(record).Where(s => s.Rule == NoteRules.PracticeTrend).Select(s => s.Text).ToList();
        Assert.StartsWith("Clothes pegs (right hand): repetitions in a session rising over 6 results in the 42 days to 12 March 2026, 7 repetitions a week", trends[0]);
        Assert.StartsWith("Clothes pegs (right hand): pain during practice falling over 6 results in the 42 days to 12 March 2026, −3.5 points a week", trends[1]);
    }

    [Fact]
    public void A_goal_is_told_by_its_levels_before_its_score()
    {
        var statements = Of(HandMade.TwoWeeks());
        Assert.Equal("Goal “Hang out a small wash.”: level 0 on 13 March 2026 (“Hangs five items.”); level −1 on 2 March 2026 at the start. Level 0 is the expected one.",
            Assert.Single(statements, s => s.Rule == NoteRules.GoalLevel).Text);
        // One goal from -1 to 0: 40 to 50 by the formula (T = 50 + 10x for a single goal).
        Assert.Contains("40.0 at the start, 50.0 now, change +10.0", Assert.Single(statements, s => s.Rule == NoteRules.GoalScore).Text);
    }

    [Fact]
    public void More_than_half_again_of_what_was_prescribed_is_mentioned()
    {
        var record = HandMade.Programme(HandMade.Done("s1", HandMade.Start, r => r with { Repetitions = 60 }));
        Assert.Equal("Clothes pegs (right hand), week 1: 60 of 20 planned repetitions (300 %), more than 150 % of what was prescribed. Ask about it.",
            The(record, NoteRules.OverPractice).Text);
    }

    [Fact]
    public void A_programme_without_results_can_be_drafted()
    {
        var statements = Of(HandMade.Programme());
        Assert.Contains(statements, s => s.Rule == NoteRules.PersonContext);
        Assert.DoesNotContain(statements, s => s.Section == NoteSection.Subjective);
    }

    public static TheoryData<string> Records => ["plain", "trend", "two weeks", "flag"];

    [Theory]
    [MemberData(nameof(Records))]
    public void Every_sentence_rests_on_something_in_the_record_and_on_a_documented_rule(string name)
    {
        var record = name switch
        {
            "plain" => HandMade.Programme(),
            "trend" => HandMade.TrendAgainstError(),
            "two weeks" => HandMade.TwoWeeks(),
            _ => HandMade.TwoWeeks().WithFlag("new-weakness"),
        };
        var known = HandMade.Addresses(record).ToHashSet();
        Assert.All(Of(record), s =>
        {
            Assert.NotEmpty(s.Evidence);
            Assert.Subset(known, s.Evidence.ToHashSet());
            Assert.Contains(s.Rule, NoteRules.All);
        });
        Assert.Equal(Of(record).Select(s => s.Id).Distinct().Count(), Of(record).Count);
    }

    [Theory]
    [MemberData(nameof(Records))]
    public void Assessment_describes_and_neither_diagnoses_nor_reassures(string name)
    {
        var record = name == "trend" ? HandMade.TrendAgainstError() : name == "flag" ? HandMade.TwoWeeks().WithFlag("new-weakness") : HandMade.TwoWeeks();
        string[] forbidden = ["diagnos", "normal", "no concern", "reassur", "recover", "nothing to worry", "safe to", "should "];
        Assert.All(Of(record).Where(s => s.Section == NoteSection.Assessment),
            s => Assert.DoesNotContain(forbidden, word => s.Text.Contains(word, StringComparison.OrdinalIgnoreCase)));
    }
}
