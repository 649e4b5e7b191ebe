using RehabRecords.Clinical;
using RehabRecords.Notes;
using RehabRecords.Progress;
using static RehabRecords.Tests.Notes.HandMade;

namespace RehabRecords.Tests.Notes;

/// <summary>What a note and a person's progress say of norms, versions, parts and units of measures.</summary>
public class MeasureReadingTests
{
    private static readonly DateOnly Day = new(2026, 3, 4);

    private static MeasureResult Result(string id, string measure, decimal? value, int day = 0, Side? side = Side.Right) =>
        new(measure, new DateTimeOffset(Day.AddDays(day), new TimeOnly(11, 0), TimeSpan.Zero), MeasureStatus.Completed, value, side, $"Observation/{id}/_history/1");

    private static ProgrammeRecord With(params MeasureResult[] results) => Programme(Done("s1", Day)) with { Measures = results };

    private static ProgrammeFindings Of(ProgrammeRecord record, ClinicRules? rules = null) => Findings.Of(record, MeasureCatalogue.Default, rules ?? ClinicRules.Default);

    private static List<Statement> Said(ProgrammeRecord record, NoteRule rule, ClinicRules? rules = null) =>
        [.. NoteDraft.Statements(record, Of(record, rules)).Where(s => s.Rule == rule)];

    [Fact]
    public void Grip_is_set_beside_the_published_norm_of_age_sex_and_hand()
    {
        // Female, 67 years, right hand: mean 49.6 lb, SD 9.7 (Mathiowetz 1985); 14 kgf is 30.86 lb: 62 %, z = (30.86 - 49.6) / 9.7.
        var said = Assert.Single(Said(With(Result("g", "grip-strength", 14)), NoteRules.MeasureNorm));
        Assert.Equal("measure-norm.grip-strength.right", said.Id);
        Assert.Equal(
            "Grip strength, right (affected): 62 % of the norm mean, z −1.93 (positive is better); female, 65 to 69 years, right hand, table mathiowetz-1985-grip, "
            + "Mathiowetz V 1985 Arch Phys Med Rehabil 66:69-74 (published). A norm is no target.", said.Text);
        Assert.Equal([new StatedValue(62, "%"), new StatedValue(-1.93m, "1")], said.Values);
        Assert.Contains("Patient/tilda/_history/1", said.Evidence);
    }

    [Fact]
    public void The_norm_is_of_the_latest_completed_result_of_each_side()
    {
        var record = With(Result("a", "grip-strength", 10), Result("b", "grip-strength", 12, 1), Result("l", "grip-strength", 20, 1, Side.Left),
            Result("c", "grip-strength", null, 2) with { Status = MeasureStatus.Unable });
        Assert.Equal(["Observation/l/_history/1", "Observation/b/_history/1"], Of(record).Norms.Select(n => n.Result.Evidence));
        Assert.Equal(2, Said(record, NoteRules.MeasureNorm).Count);
    }

    [Fact]
    public void A_norm_from_memory_is_shown_in_progress_as_to_be_confirmed_and_is_not_in_the_note()
    {
        var record = With(Result("p", "nine-hole-peg", 40), Result("b", "box-and-block", 30));
        Assert.Empty(Said(record, NoteRules.MeasureNorm));
        var norms = FindingsView.Of(record, Of(record)).Norms;
        Assert.Equal(["nine-hole-peg", "box-and-block"], norms.Select(n => n.Measure));
        Assert.All(norms, n => Assert.Equal(("from memory, to be confirmed", false), (n.Mark, n.Confirmed)));
        Assert.All(norms, n => Assert.True(n.Z < 0, "slower, and fewer blocks, than the norm is negative"));
    }

    [Fact]
    public void Why_no_norm_can_be_read_is_told_in_progress_only()
    {
        var record = With(Result("g", "grip-strength", 14));
        record = record with { Person = record.Person with { Context = record.Person.Context with { Sex = null } } };
        Assert.Empty(Said(record, NoteRules.MeasureNorm));
        var norm = Assert.Single(FindingsView.Of(record, Of(record)).Norms);
        Assert.Contains("sex is missing; allowed: female or male", norm.Refused);
        Assert.Null(norm.Z);
        Assert.Null(norm.Mark);
    }

    [Fact]
    public void A_total_names_its_subscales_and_they_make_no_sentences_of_their_own()
    {
        var record = With(
            Result("t", "arat", 31), Result("g", "arat-grasp", 12) with { PartOf = "Observation/t/_history/1" },
            Result("r", "arat-grip", 8) with { PartOf = "Observation/t/_history/1" }, Result("alone", "arat-gross", 6));
        var said = Said(record, NoteRules.MeasureLatest);
        Assert.Equal("Action Research Arm Test, right (affected): 31 points (grasp 12, grip 8) on 4 March 2026.", said[0].Text);
        Assert.Equal(["Observation/g/_history/1", "Observation/r/_history/1", "Observation/t/_history/1"], said[0].Evidence);
        Assert.Equal(["measure.arat.right", "measure.arat-gross.right"], said.Select(s => s.Id));
    }

    [Fact]
    public void A_version_left_out_is_the_default_one_and_another_version_is_another_series()
    {
        MeasureResult Walk(string id, decimal speed, int day, string? variant) => Result(id, "ten-metre-walk", speed, day, null) with { Variant = variant };
        var record = With(Walk("a", 0.5m, 0, null), Walk("b", 0.7m, 1, "comfortable"), Walk("c", 1.1m, 2, "fast"));
        var change = Assert.Single(Said(record, NoteRules.MeasureChanged));
        Assert.StartsWith("10-metre walk, comfortable: 0.50 m/s on 4 March 2026, 0.70 m/s on 5 March 2026: 0.20 m/s more (better).", change.Text, StringComparison.Ordinal);
        Assert.Equal("10-metre walk, fast: 1.10 m/s on 6 March 2026.", Assert.Single(Said(record, NoteRules.MeasureLatest)).Text);
    }

    [Fact]
    public void Grades_of_two_muscle_groups_are_two_series()
    {
        MeasureResult Tone(string id, string site, string grade, int day) => Result(id, "modified-ashworth", null, day) with { Site = site, Grade = grade };
        var record = With(Tone("a", "elbow flexors", "2", 0), Tone("b", "wrist flexors", "1", 1), Tone("c", "elbow flexors", "1+", 2));
        Assert.Contains("Modified Ashworth Scale, right (affected), elbow flexors: grade 2 on 4 March 2026, grade 1+ on 6 March 2026",
            Assert.Single(Said(record, NoteRules.MeasureChanged)).Text);
        Assert.Equal("measure.modified-ashworth.right.wrist-flexors", Assert.Single(Said(record, NoteRules.MeasureLatest)).Id);
    }

    [Theory]
    [InlineData("barthel-20", 15, "barthel-100", 75)]
    [InlineData("exertion-0-10", 4, "exertion-6-20", 13)]
    [InlineData("fatigue-severity-9", 4, "fatigue-severity-7", 5)]
    public void Two_scales_of_one_name_never_make_one_series(string one, int first, string other, int second)
    {
        var record = With([.. Enumerable.Range(0, 6).Select(i => i % 2 == 0 ? Result($"a{i}", one, first, i, null) : Result($"b{i}", other, second, i, null))]);
        var findings = Of(record);
        Assert.Equal(new[] { one, other }.Order(), findings.Changes.Select(c => c.Measure.Id).Order());
        Assert.All(findings.Changes, c => Assert.Equal(0, c.Difference));
        Assert.All(findings.MeasureTrends, t => Assert.Equal(3, t.Trend.Count));
    }

    [Fact]
    public void A_series_in_two_units_is_read_in_one()
    {
        // 44.1 lb and 20 kgf are the same force but for rounding; 196 N is 19.99 kgf.
        var record = With(Result("a", "grip-strength", 44.1m) with { Unit = "[lbf_av]" }, Result("b", "grip-strength", 20, 1) with { Unit = "kgf" }, Result("c", "grip-strength", 196, 2) with { Unit = "N" });
        var text = Assert.Single(Said(record, NoteRules.MeasureChanged)).Text;
        Assert.Matches(@"^Grip strength, right \(affected\): 20\.0\d? kg on 4 March 2026, (20\.0|19\.99) kg on 6 March 2026", text);
        Assert.InRange(Math.Abs(Assert.Single(Of(record).MeasureTrends).Trend.SlopePerWeek!.Value), 0, 0.1);
    }

    [Fact]
    public void A_threshold_is_named_by_the_id_of_its_row()
    {
        var record = With(Result("a", "nine-hole-peg", 60), Result("b", "nine-hole-peg", 40, 1));
        var row = Assert.Single(Of(record).Changes).Detectable!.Row;
        Assert.Contains($", row {row.Id}.", Assert.Single(Said(record, NoteRules.MeasureChanged)).Text);
        Assert.Contains(MeasureCatalogue.Default.Get("nine-hole-peg").Thresholds, t => t.Id == row.Id);
    }

    [Fact]
    public void Suggestions_and_definitions_of_the_clinic_say_that_they_are()
    {
        var rules = ClinicRules.Of(new Dictionary<string, decimal> { ["reports-needed"] = 4 }, 50, false);
        var record = Programme(Done("s1", Day));
        var suggestion = Assert.Single(Of(record, rules).Suggestions);
        Assert.Equal((rules.Progression.Version, "reports-needed 4 instead of 3"), (suggestion.RuleSet, suggestion.ClinicChanges));
        var said = NoteDraft.Statements(record, Of(record, rules));
        Assert.Contains(said, s => s.Text.Contains($"rule set {rules.Progression.Version}, changed by the clinic (common practice, no source).", StringComparison.Ordinal));
        Assert.Contains(said, s => s.Text.Contains("By the definition “at least 50 % of what was prescribed” (set by the clinic (common practice, no source)), this is reached.", StringComparison.Ordinal));
        Assert.DoesNotContain(NoteDraft.Statements(record, Of(record)), s => s.Text.Contains("changed by the clinic", StringComparison.Ordinal));
    }
}
