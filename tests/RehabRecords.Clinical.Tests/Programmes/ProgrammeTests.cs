namespace RehabRecords.Clinical.Tests;

public class ProgrammeTests
{
    private static readonly IReadOnlyList<TemplateLevel> Levels =
        [new(1, [CapacityBand.Poor]), new(2, [CapacityBand.Limited, CapacityBand.Notable]), new(3, [CapacityBand.Notable, CapacityBand.Full])];

    [Theory]
    [InlineData("arat", 0, CapacityBand.NoCapacity)]
    [InlineData("arat", 10, CapacityBand.NoCapacity)]
    [InlineData("arat", 11, CapacityBand.Poor)]
    [InlineData("arat", 21, CapacityBand.Poor)]
    [InlineData("arat", 22, CapacityBand.Limited)]
    [InlineData("arat", 42, CapacityBand.Limited)]
    [InlineData("arat", 43, CapacityBand.Notable)]
    [InlineData("arat", 54, CapacityBand.Notable)]
    [InlineData("arat", 55, CapacityBand.Full)]
    [InlineData("arat", 57, CapacityBand.Full)]
    [InlineData("fugl-meyer-upper-extremity", 0, CapacityBand.NoCapacity)]
    [InlineData("fugl-meyer-upper-extremity", 22, CapacityBand.NoCapacity)]
    [InlineData("fugl-meyer-upper-extremity", 23, CapacityBand.Poor)]
    [InlineData("fugl-meyer-upper-extremity", 31, CapacityBand.Poor)]
    [InlineData("fugl-meyer-upper-extremity", 32, CapacityBand.Limited)]
    [InlineData("fugl-meyer-upper-extremity", 47, CapacityBand.Limited)]
    [InlineData("fugl-meyer-upper-extremity", 48, CapacityBand.Notable)]
    [InlineData("fugl-meyer-upper-extremity", 52, CapacityBand.Notable)]
    [InlineData("fugl-meyer-upper-extremity", 53, CapacityBand.Full)]
    [InlineData("fugl-meyer-upper-extremity", 66, CapacityBand.Full)]
    public void Published_bands_of_Hoonhorst_2015(string measure, int score, CapacityBand band)
    {
        var found = StartingLevel.BandOf(Score(measure, score));
        Assert.Equal((band, measure != "arat"), (found.Band, found.Predicted));
        Assert.Contains(found.Predicted ? "predicted from" : "by an Action Research Arm Test", found.Text);
        Assert.Equal(("Hoonhorst", "e"), (found.Source.Citation[..9], Assert.Single(found.Evidence)));
    }

    [Theory]
    [InlineData("arat", 58, "value")]
    [InlineData("arat", -1, "value")]
    [InlineData("arat", 10.5, "value")]
    [InlineData("fugl-meyer-upper-extremity", 67, "value")]
    [InlineData("box-and-block", 30, "measure")]
    public void Other_scores_have_no_band(string measure, double score, string element) =>
        Assert.Equal(element, Assert.Throws<UnfitInputException>(() => StartingLevel.BandOf(Score(measure, (decimal)score))).Problem.Element);

    [Fact]
    public void A_test_not_completed_has_no_band() =>
        Assert.Equal("value", Assert.Throws<UnfitInputException>(() => StartingLevel.BandOf(Score("arat", null) with { Status = MeasureStatus.Refused })).Problem.Element);

    [Fact]
    public void The_band_proposes_the_lowest_level_written_for_it()
    {
        Assert.Equal(2, StartingLevel.Propose(StartingLevel.BandOf(Score("arat", 50)), Levels));
        Assert.Null(StartingLevel.Propose(StartingLevel.BandOf(Score("arat", 5)), Levels));
    }

    [Fact]
    public void The_therapist_disposes_and_the_reason_is_kept()
    {
        var band = StartingLevel.BandOf(Score("arat", 30));
        var proposed = StartingLevel.Choose(null, null, band, Levels);
        Assert.Equal((2, 2, "limited capacity, by an Action Research Arm Test score of 30: level 2 (Hoonhorst MH 2015 Arch Phys Med Rehabil 96:1845-1849)"), (proposed.Level, proposed.Proposed, proposed.Reason));
        Assert.Equal(["e"], proposed.Evidence);

        var other = StartingLevel.Choose(1, "very tired", band, Levels);
        Assert.Equal((1, 2), (other.Level, other.Proposed));
        Assert.Equal("very tired (the band, limited capacity, by an Action Research Arm Test score of 30, proposed level 2)", other.Reason);

        var word = StartingLevel.Choose(3, "known to the therapist", null, Levels);
        Assert.Equal((3, null, "known to the therapist"), (word.Level, word.Proposed, word.Reason));
        Assert.Empty(word.Evidence);
    }

    [Fact]
    public void A_level_without_reason_or_outside_the_template_is_refused()
    {
        var band = StartingLevel.BandOf(Score("arat", 30));
        Assert.Equal("levelReason", Refused(1, " ", band));
        Assert.Equal("levelReason", Refused(1, null, null));
        Assert.Equal("level", Refused(4, "why not", band));
        Assert.Equal("level", Refused(null, "no band", null));

        static string Refused(int? level, string? reason, CapacityFinding? band) =>
            Assert.Throws<UnfitInputException>(() => StartingLevel.Choose(level, reason, band, Levels)).Problem.Element;
    }

    [Fact(DisplayName = "published: CERT has 16 items in 19 lines, TIDieR has 12")]
    public void Lines_of_the_reporting_standards()
    {
        var cert = ReportingCheck.Items.Where(i => i.Standard == ReportingStandard.Cert).ToList();
        Assert.Equal((19, 16), (cert.Count, cert.Select(i => i.Item.TrimEnd('a', 'b')).Distinct().Count()));
        Assert.Equal(12, ReportingCheck.Items.Count(i => i.Standard == ReportingStandard.Tidier));
    }

    [Theory]
    [InlineData(ReportingStandard.Cert, 19)]
    [InlineData(ReportingStandard.Tidier, 12)]
    public void An_empty_programme_fills_none_and_a_full_one_all(ReportingStandard standard, int lines)
    {
        var empty = ReportingCheck.Score(standard, []);
        Assert.Equal((0, lines, lines), (empty.Filled, empty.Lines, empty.Gaps.Count));
        var full = ReportingCheck.Score(standard, [.. ReportingCheck.Fields]);
        Assert.Equal((lines, 0), (full.Filled, full.Gaps.Count));
        Assert.DoesNotContain("Missing", full.Text);
    }

    [Fact]
    public void A_gap_names_the_fields_that_fill_it()
    {
        var score = ReportingCheck.Score(ReportingStandard.Cert, [.. ReportingCheck.Fields.Except(["exercise.position", "programme.setting"])]);
        Assert.Equal([("8", "exercise.position"), ("12", "programme.setting")], score.Gaps.Select(g => (g.Item.Item, Assert.Single(g.Missing))));
        Assert.Equal("17 of 19 lines of CERT are filled. Missing: 8 Each exercise described so that it can be repeated (exercise.position); 12 Setting (programme.setting).", score.Text);
        Assert.Equal(["8"], ReportingCheck.Below(score, 17, ["8", "9"]).Select(g => g.Item.Item));
        Assert.Equal(["8", "12"], ReportingCheck.Below(score, 18, []).Select(g => g.Item.Item));
        Assert.Empty(ReportingCheck.Below(score, 17, []));
        Assert.Equal("filled", Assert.Throws<UnfitInputException>(() => ReportingCheck.Score(ReportingStandard.Cert, ["exercise.colour"])).Problem.Element);
    }

    [Fact]
    public void Age_and_days_since_onset_are_whole_and_never_negative()
    {
        var person = new PersonContext(Onset: new(2026, 1, 10), BirthDate: new(1960, 2, 29));
        Assert.Equal((65, 66), (person.AgeOn(new(2026, 2, 27)), person.AgeOn(new(2026, 3, 1))));
        Assert.Equal((0, 50), (person.DaysSinceOnset(new(2026, 1, 10)), person.DaysSinceOnset(new(2026, 3, 1))));
        Assert.Null(person.DaysSinceOnset(new(2026, 1, 9)));
        Assert.Null(person.AgeOn(new(1960, 2, 28)));
        Assert.Equal((null, null), (new PersonContext().AgeOn(new(2026, 1, 1)), new PersonContext().DaysSinceOnset(new(2026, 1, 1))));
    }

    [Fact]
    public void A_mark_is_shown_in_words()
    {
        Assert.Equal("Someone 2020", new Source("Someone 2020", Mark.Published).ToString());
        Assert.Equal("Someone 2020 (from memory, not confirmed)", new Source("Someone 2020", Mark.FromMemory).ToString());
        Assert.Equal(["published", "secondary source", "computed from published values", "from memory, not confirmed", "common practice, no source"],
            Enum.GetValues<Mark>().Select(mark => new Source("x", mark).MarkText));
    }

    private static MeasureResult Score(string measure, decimal? score) => new(measure, DateTimeOffset.UnixEpoch, MeasureStatus.Completed, score, Side.Left, "e");
}
