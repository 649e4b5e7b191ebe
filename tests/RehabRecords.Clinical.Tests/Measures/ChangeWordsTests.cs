namespace RehabRecords.Clinical.Tests;

/// <summary>The sentences a clinician reads of a change, whole. Values as in the catalogue, whose rows carry their source.</summary>
public class ChangeWordsTests
{
    private const string Chen = "stroke, retest after 3 to 7 days; n = 62; Chen HM 2009 Neurorehabil Neural Repair 23:435-440";
    private const string Lang = "early after stroke (means 9.5 and 25.9 days); n = 52; Lang CE 2008 Arch Phys Med Rehabil 89:1693-1700";
    private static readonly DateTimeOffset First = new(2026, 3, 2, 10, 0, 0, TimeSpan.Zero);
    private static readonly PersonContext Early = new(Side.Left, Side.Left, DateOnly.FromDateTime(First.DateTime).AddDays(-10));

    [Theory]
    [InlineData("nine-hole-peg", Side.Left, 62.0, 47.0,
        $"Nine-Hole Peg Test, left hand: 62.0 s to 47.0 s (15.0 s lower, better). Below the minimal detectable change: within measurement error. Minimal detectable change (95 %): 32.8 s (more affected hand; {Chen}).")]
    [InlineData("nine-hole-peg", Side.Right, 21.5, 28.0,
        $"Nine-Hole Peg Test, right hand: 21.5 s to 28.0 s (6.5 s higher, worse). Detectable; no usable minimal important change is known for it. Minimal detectable change (95 %): 6.2 s (less affected hand; {Chen}).")]
    [InlineData("box-and-block", Side.Left, 26, 20,
        $"Box and Block Test, left hand: 26 blocks/min to 20 blocks/min (6 blocks/min lower, worse). Detectable; no usable minimal important change is known for it. Minimal detectable change (95 %): 5.5 blocks/min (more affected hand; {Chen}).")]
    [InlineData("box-and-block", Side.Left, 20, 20,
        $"Box and Block Test, left hand: 20 blocks/min to 20 blocks/min (no change). Below the minimal detectable change: within measurement error. Minimal detectable change (95 %): 5.5 blocks/min (more affected hand; {Chen}).")]
    [InlineData("grip-strength", Side.Left, 12, 17,
        $"Grip strength, left hand: 12.0 kg to 17.0 kg (5.0 kg higher, better). Detectable, and the minimal important change is reached. Minimal detectable change (95 %): 2.9 kg (more affected hand; {Chen}). Minimal important change: 5 kg (affected dominant hand; {Lang}).")]
    [InlineData("grip-strength", Side.Left, 12, 16,
        $"Grip strength, left hand: 12.0 kg to 16.0 kg (4.0 kg higher, better). Detectable, but below the minimal important change. Minimal detectable change (95 %): 2.9 kg (more affected hand; {Chen}). Minimal important change: 5 kg (affected dominant hand; {Lang}).")]
    [InlineData("stroke-impact-hand", null, 40, 60,
        "Stroke Impact Scale, hand function: 40.0 points to 60.0 points (20.0 points higher, better). The minimal important change is reached, but inside measurement error. "
        + "Minimal detectable change (95 %): 25.9 points (stroke; n = 74; Lin KC 2010 Neurorehabil Neural Repair 24:486-492). Minimal important change: 17.8 points (stroke; n = 74; Lin KC 2010 Neurorehabil Neural Repair 24:486-492).")]
    [InlineData("exertion-6-20", null, 11, 13, "Perceived exertion, 6 to 20: 11 points to 13 points (2 points higher). No threshold is known for it.")]
    [InlineData("exertion-6-20", null, 13, 11, "Perceived exertion, 6 to 20: 13 points to 11 points (2 points lower). No threshold is known for it.")]
    [InlineData("exertion-6-20", null, 13, 13, "Perceived exertion, 6 to 20: 13 points to 13 points (no change). No threshold is known for it.")]
    [InlineData("pain-task", null, 6, 3,
        "Pain during the task: 6 points to 3 points (3 points lower, better). The minimal important change is reached; its measurement error is not known. "
        + "Minimal important change: 2.17 points (rehabilitation of shoulder pain, not stroke; n = 136; Michener LA 2011 J Sport Rehabil 20:115-128). Important change: different population: rehabilitation of shoulder pain, not stroke.")]
    [InlineData("pain-task", null, 6, 5,
        "Pain during the task: 6 points to 5 points (1 points lower, better). Below the minimal important change; its measurement error is not known. "
        + "Minimal important change: 2.17 points (rehabilitation of shoulder pain, not stroke; n = 136; Michener LA 2011 J Sport Rehabil 20:115-128). Important change: different population: rehabilitation of shoulder pain, not stroke.")]
    public void A_change_in_words(string measure, Side? side, double from, double to, string text) =>
        Assert.Equal(text, Change(measure, side, (decimal)from, (decimal)to, Early).Text);

    [Fact]
    public void What_does_not_fit_the_person_comes_last_and_both_thresholds_have_their_own_note()
    {
        var found = Change("arat", Side.Left, 30, 40, Early with { Onset = DateOnly.FromDateTime(First.DateTime).AddDays(-100) });
        Assert.EndsWith(" Detectable change: different population: chronic stroke, retest after 2 weeks, from day 180 (window set here); these tests were on days 100 and 130 after onset. "
            + "Important change: different population: early after stroke (means 9.5 and 25.9 days), days 0 to 42 (window set here); these tests were on days 100 and 130 after onset.", found.Text);
        Assert.Contains("Minimal detectable change (95 %): 5.95 points (chronic stroke, retest after 2 weeks; n = 22; van der Lee JH 2001 J Rehabil Med 33:110-113 (computed from published values)).", found.Text);
        Assert.Equal(2, found.Notes.Count);
    }

    public static TheoryData<MeasureStatus, string> Categories => new()
    {
        { MeasureStatus.Unable, "unable" },
        { MeasureStatus.NotAttempted, "not attempted" },
        { MeasureStatus.Refused, "refused" },
        { MeasureStatus.NotApplicable, "not applicable" },
        { MeasureStatus.InvalidTrial, "invalid trial" },
        { MeasureStatus.StoppedAtLimit, "stopped at the limit" },
        { MeasureStatus.Completed, "completed" },
    };

    [Theory]
    [MemberData(nameof(Categories))]
    public void A_change_of_category_names_both_and_computes_nothing(MeasureStatus status, string words)
    {
        var peg = MeasureCatalogue.Default.Get("nine-hole-peg");
        var (one, refused) = (new MeasureResult("nine-hole-peg", First, status, null, Side.Left, "a"), new MeasureResult("nine-hole-peg", First.AddDays(1), MeasureStatus.Refused, null, Side.Left, "b"));
        var verdict = status == MeasureStatus.Refused ? "The same category." : "A change of category; no difference is computed.";
        Assert.Equal($"Nine-Hole Peg Test, left hand: {words}, then refused. {verdict}", MeasureChange.Between(peg, one, refused, Early).Text);
    }

    [Fact]
    public void Better_and_worse_are_said_of_the_rungs_of_one_ladder_and_of_pegs_only_where_both_were_stopped()
    {
        var peg = MeasureCatalogue.Default.Get("nine-hole-peg");
        MeasureResult Of(MeasureStatus status, int day, int? pegs = null) => new("nine-hole-peg", First.AddDays(day), status, null, Side.Left, $"{day}") { PegsPlaced = pegs };
        Assert.Equal("Nine-Hole Peg Test, left hand: stopped at the limit with 3 pegs placed, then unable. A change of category, worse; no difference is computed.",
            MeasureChange.Between(peg, Of(MeasureStatus.StoppedAtLimit, 0, 3), Of(MeasureStatus.Unable, 1, 2), Early).Text);
        Assert.Equal("Nine-Hole Peg Test, left hand: stopped at the limit with 3 pegs placed, then stopped at the limit with 5 pegs placed. "
            + "A change of category, better; no difference is computed. Pegs placed within the limit: 3, then 5.",
            MeasureChange.Between(peg, Of(MeasureStatus.StoppedAtLimit, 0, 3), Of(MeasureStatus.StoppedAtLimit, 1, 5), Early).Text);
    }

    [Theory]
    [InlineData("0", "4", "left side, wrist: grade 0, then grade 4. A change of category, worse; no difference is computed.", ChangeDirection.Worsened)]
    [InlineData("1", "0", "left side, wrist: grade 1, then grade 0. A change of category, better; no difference is computed.", ChangeDirection.Improved)]
    [InlineData("2", "2", "left side, wrist: grade 2, then grade 2. The same category.", ChangeDirection.Unchanged)]
    [InlineData("2", "5", "left side, wrist: grade 2, then grade 5. A change of category; no difference is computed.", ChangeDirection.Undirected)]
    [InlineData("9", "2", "left side, wrist: grade 9, then grade 2. A change of category; no difference is computed.", ChangeDirection.Undirected)]
    [InlineData(null, "2", "left side, wrist: grade not recorded, then grade 2. A change of category; no difference is computed.", ChangeDirection.Undirected)]
    public void Grades_in_words_and_one_outside_the_scale_has_no_direction(string? from, string to, string words, ChangeDirection direction)
    {
        MeasureResult Grade(int days, string? grade) => new("modified-ashworth", First.AddDays(days), MeasureStatus.Completed, null, Side.Left, $"{days}") { Grade = grade, Site = "wrist" };
        var found = MeasureChange.Between(MeasureCatalogue.Default.Get("modified-ashworth"), Grade(0, from), Grade(5, to), Early);
        Assert.Equal(("Modified Ashworth Scale, " + words, direction), (found.Text, found.Direction));
    }

    [Fact]
    public void A_grade_after_a_test_that_could_not_be_done_is_a_step_up_the_ladder()
    {
        var unable = new MeasureResult("modified-ashworth", First, MeasureStatus.Unable, null, Side.Left, "a");
        var graded = new MeasureResult("modified-ashworth", First.AddDays(1), MeasureStatus.Completed, 2.0m, Side.Left, "b");
        var found = MeasureChange.Between(MeasureCatalogue.Default.Get("modified-ashworth"), unable, graded, Early);
        Assert.Equal("Modified Ashworth Scale, left side: unable, then grade 2. A change of category, better; no difference is computed.", found.Text);
    }

    public static TheoryData<Func<MeasureResult, MeasureResult>, string> Unlike => new()
    {
        { r => r with { Measure = "arat" }, "measure is nine-hole-peg and arat; allowed: nine-hole-peg. Compare results of one measure." },
        { r => r with { Side = Side.Right }, "side is left and right; allowed: the same side. Compare results of one side." },
        { r => r with { Site = "table" }, "site is none and table; allowed: the same site. Compare results of one site." },
        { r => r with { Variant = "in 50 s" }, "variant is none and in 50 s; allowed: the same variant. Compare results of one version of the procedure." },
        { r => r with { MeasuredAt = First.AddDays(-1) }, "measuredAt is 2026-03-01T10:00:00.0000000+00:00; allowed: not before 2026-03-02T10:00:00.0000000+00:00. Give the earlier result first." },
        { r => r with { Value = null }, "value is missing; allowed: a value for a completed test. Send the value, or the status that says why there is none." },
        { r => r with { Unit = "h" }, "unit is h; allowed: s. Record the value in one of these units." },
    };

    [Theory]
    [MemberData(nameof(Unlike))]
    public void Unlike_results_are_refused_and_it_is_said_what_was_unlike(Func<MeasureResult, MeasureResult> change, string message)
    {
        var first = new MeasureResult("nine-hole-peg", First, MeasureStatus.Completed, 60, Side.Left, "a");
        Assert.Equal(message, Assert.Throws<UnfitInputException>(() => MeasureChange.Between(MeasureCatalogue.Default.Get("nine-hole-peg"), first, change(first), Early)).Message);
        if (first.Site == change(first).Site)
            return;
        Assert.StartsWith("site is table and none; ", Assert.Throws<UnfitInputException>(() => MeasureChange.Between(MeasureCatalogue.Default.Get("nine-hole-peg"), change(first), first, Early)).Message);
    }

    [Fact]
    public void Series_come_by_measure_side_site_and_variant_and_goal_levels_are_left_to_the_goals()
    {
        MeasureResult At(string measure, int day, decimal? value, Side? side, string? site = null, string? variant = null) =>
            new(measure, First.AddDays(day), MeasureStatus.Completed, value, side, $"{measure}/{day}/{side}") { Site = site, Variant = variant };
        MeasureResult[] once =
        [
            At("gas-level", 0, -1, null), At("gas-level", 5, 1, null), At("ten-metre-walk", 0, 1.2m, null, variant: "fast"), At("ten-metre-walk", 5, 1.3m, null, variant: "fast"),
            At("ten-metre-walk", 0, 0.9m, null), At("ten-metre-walk", 5, 1, null, variant: "comfortable"), At("mrc-power", 0, 3, Side.Left, "wrist"), At("mrc-power", 5, 4, Side.Left, "wrist"),
            At("mrc-power", 0, 2, Side.Left, "elbow"), At("mrc-power", 5, 4, Side.Left, "elbow"), At("arat", 0, 20, Side.Right), At("arat", 5, 30, Side.Right), At("arat", 0, 10, Side.Left), At("arat", 5, 11, Side.Left),
        ];
        foreach (var results in new[] { once, [.. once.Reverse()] })
            Assert.Equal(["arat Left  10 11", "arat Right  20 30", "mrc-power Left elbow 2 4", "mrc-power Left wrist 3 4", "ten-metre-walk   0.9 1", "ten-metre-walk   1.2 1.3"],
                MeasureChange.All(MeasureCatalogue.Default, results, Early).Select(c => $"{c.Measure.Id} {c.Side} {c.First.Site} {c.First.Value} {c.Last.Value}"));
        // Two results of one instant: the address decides, so that the order of arrival does not.
        MeasureResult[] twins = [At("arat", 0, 20, Side.Left) with { Evidence = "b" }, At("arat", 0, 25, Side.Left) with { Evidence = "a" }];
        foreach (var results in new[] { twins, [.. twins.Reverse()] })
            Assert.Equal(-5, Assert.Single(MeasureChange.All(MeasureCatalogue.Default, results, Early)).Difference);
    }

    private static MeasureChange Change(string measure, Side? side, decimal from, decimal to, PersonContext person, int days = 30) =>
        MeasureChange.Between(MeasureCatalogue.Default.Get(measure),
            new(measure, First, MeasureStatus.Completed, from, side, "first"), new(measure, First.AddDays(days), MeasureStatus.Completed, to, side, "last"), person);
}
