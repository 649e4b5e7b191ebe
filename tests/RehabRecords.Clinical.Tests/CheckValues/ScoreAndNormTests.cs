namespace RehabRecords.Clinical.Tests;

public class ScoreAndNormTests
{
    private static readonly DateTimeOffset Tested = new(2026, 3, 2, 10, 0, 0, TimeSpan.Zero);

    [Theory]
    [InlineData(ArmTestSubscale.Grasp, 18)]
    [InlineData(ArmTestSubscale.Grip, 12)]
    [InlineData(ArmTestSubscale.Pinch, 18)]
    [InlineData(ArmTestSubscale.Gross, 9)]
    public void Published_rule_of_Lyle_the_hardest_item_done_credits_the_subscale(ArmTestSubscale subscale, int score)
    {
        var scored = ArmTestScore.Score(subscale, [3]);
        Assert.Equal((score, true, null), (scored.Score, scored.ByRule, scored.Flag));
        Assert.Equal(ArmTestScore.ItemsOf(subscale), scored.Items.Count);
    }

    [Fact(DisplayName = "published rule of Lyle: item 1 at 1 and item 2 at 0 credits 0 to the rest; the misfit is flagged (computed)")]
    public void The_easiest_item_failed_ends_the_subscale()
    {
        var scored = ArmTestScore.Score(ArmTestSubscale.Grasp, [1, 0]);
        Assert.Equal((1, true), (scored.Score, scored.ByRule));
        Assert.Equal([1, 0, 0, 0, 0, 0], scored.Items);
        Assert.Contains("check both", scored.Flag);
        Assert.Null(ArmTestScore.Score(ArmTestSubscale.Grasp, [0, 0]).Flag);
    }

    [Fact]
    public void Otherwise_every_item_is_needed()
    {
        Assert.Equal("items[3]", Assert.Throws<UnfitInputException>(() => ArmTestScore.Score(ArmTestSubscale.Grip, [2, 2, 1])).Problem.Element);
        var all = ArmTestScore.Score(ArmTestSubscale.Grip, [2, 2, 1, 3]);
        Assert.Equal((8, false), (all.Score, all.ByRule));
    }

    [Fact]
    public void Items_out_of_range_too_many_or_without_the_first_are_refused()
    {
        Assert.Equal("items[1]", Assert.Throws<UnfitInputException>(() => ArmTestScore.Score(ArmTestSubscale.Gross, [2, 4])).Problem.Element);
        Assert.Equal("items[0]", Assert.Throws<UnfitInputException>(() => ArmTestScore.Score(ArmTestSubscale.Gross, [-1])).Problem.Element);
        Assert.Equal("items", Assert.Throws<UnfitInputException>(() => ArmTestScore.Score(ArmTestSubscale.Gross, [1, 1, 1, 1])).Problem.Element);
        Assert.Equal("items[0]", Assert.Throws<UnfitInputException>(() => ArmTestScore.Score(ArmTestSubscale.Gross, [null, 1, 1])).Problem.Element);
    }

    [Fact(DisplayName = "published: subscales of 18, 12, 18 and 9 total 57; 58 is refused")]
    public void Total_of_the_arm_test()
    {
        Assert.Equal(57, ArmTestScore.Total(18, 12, 18, 9));
        Assert.Equal("grasp", Assert.Throws<UnfitInputException>(() => ArmTestScore.Total(19, 12, 18, 9)).Problem.Element);
        Assert.Equal("gross", Assert.Throws<UnfitInputException>(() => ArmTestScore.Total(18, 12, 18, -1)).Problem.Element);
        var problem = Assert.Single(MeasureCatalogue.Default.Check(new("arat", Tested, MeasureStatus.Completed, 58, Side.Left, "e")));
        Assert.Equal(("value", "58"), (problem.Element, problem.Value));
    }

    [Fact(DisplayName = "from memory: 13 of 20 is 65 of 100, and 63 of 100 is refused")]
    public void Barthel_versions()
    {
        Assert.Equal(65, DerivedScores.Barthel100Of20(13));
        Assert.Equal(20, DerivedScores.Barthel20Maxima.Sum());
        Assert.Throws<UnfitInputException>(() => DerivedScores.Barthel100Of20(21));
        Assert.Throws<UnfitInputException>(() => DerivedScores.Barthel100Of20(-1));
        var problem = Assert.Single(MeasureCatalogue.Default.Check(new("barthel-100", Tested, MeasureStatus.Completed, 63, null, "e")));
        Assert.Contains("in steps of 5", problem.Allowed);
    }

    [Fact(DisplayName = "published: Mathiowetz 1985, a woman of 67, right grip 40.0 lb is 18.1 kg and z -0.99")]
    public void Grip_beside_the_norm()
    {
        var person = new PersonContext(BirthDate: new(1959, 1, 1), Sex: Sex.Female);
        var found = Norms.Compare(new("grip-strength", Tested, MeasureStatus.Completed, 40.0m, Side.Right, "e") { Unit = "[lbf_av]" }, person);
        Assert.Equal(-0.99, found.Z, 2);
        Assert.Equal(40.0 / 49.6 * 100, found.PercentOfMean, 6);
        Assert.Contains("18.1 kg", found.Text);
        Assert.Contains("Mathiowetz V 1985 Arch Phys Med Rehabil", found.Text);
        Assert.DoesNotContain("from memory", found.Text);
    }

    [Fact(DisplayName = "from memory: a man of 72, right pegs in 30.0 s is z -2.42 (slower is negative), and is shown as from memory")]
    public void Pegs_beside_the_norm()
    {
        var person = new PersonContext(BirthDate: new(1954, 1, 1), Sex: Sex.Male);
        var found = Norms.Compare(new("nine-hole-peg", Tested, MeasureStatus.Completed, 30.0m, Side.Right, "e"), person);
        Assert.Equal(-2.42, found.Z, 2);
        Assert.Contains("from memory, not confirmed", found.Text);
    }

    [Fact(DisplayName = "computed: 121.0 lb is 54.88 kg and 54.9 kg is 121.03 lb")]
    public void Pounds_and_kilograms()
    {
        var grip = MeasureCatalogue.Default.Get("grip-strength");
        Assert.Equal(54.88m, Math.Round(grip.InOwnUnit(121.0m, "[lbf_av]")!.Value, 2));
        Assert.Equal(121.03m, Math.Round(54.9m / grip.OtherUnits.Single(u => u.Unit == "[lbf_av]").Factor, 2));
        Assert.Null(grip.InOwnUnit(1, "kg"));
    }

    [Theory]
    [InlineData(19, Sex.Female, Side.Left, "age")]
    [InlineData(95, Sex.Female, Side.Left, "age")]
    [InlineData(50, Sex.Other, Side.Left, "sex")]
    [InlineData(50, null, Side.Left, "sex")]
    [InlineData(50, Sex.Male, null, "side")]
    [InlineData(50, Sex.Male, Side.Both, "side")]
    public void Outside_the_table_is_refused(int age, Sex? sex, Side? side, string element)
    {
        var person = new PersonContext(BirthDate: new(2026 - age, 1, 1), Sex: sex);
        Assert.Equal(element, Assert.Throws<UnfitInputException>(() =>
            Norms.Compare(new("grip-strength", Tested, MeasureStatus.Completed, 20, side, "e"), person)).Problem.Element);
    }

    [Theory]
    [InlineData(20)]
    [InlineData(94)]
    public void The_first_and_last_year_of_the_table_are_inside(int age) =>
        Assert.NotNull(Norms.Compare(new("grip-strength", Tested, MeasureStatus.Completed, 20, Side.Left, "e"), new(BirthDate: new(2026 - age, 1, 1), Sex: Sex.Male)));

    [Fact]
    public void A_table_by_dominance_asks_for_the_dominant_hand()
    {
        var pinch = new MeasureResult("tip-pinch", Tested, MeasureStatus.Completed, 5, Side.Left, "e");
        var man = new PersonContext(BirthDate: new(1986, 1, 1), Sex: Sex.Male);
        Assert.Equal("dominantHand", Assert.Throws<UnfitInputException>(() => Norms.Compare(pinch, man)).Problem.Element);
        Assert.Equal(NormHand.NonDominant, Norms.Compare(pinch, man with { DominantHand = Side.Right }).Cell.Hand);
        Assert.Equal(NormHand.Dominant, Norms.Compare(pinch, man with { DominantHand = Side.Left }).Cell.Hand);
        // The reprint shows no cell for the non-dominant hand from 75 years on: refused, not guessed.
        Assert.Equal("age", Assert.Throws<UnfitInputException>(() =>
            Norms.Compare(pinch, man with { BirthDate = new(1945, 1, 1), DominantHand = Side.Right })).Problem.Element);
    }

    [Fact]
    public void An_unconfirmed_deviation_is_said_to_be_so()
    {
        var found = Norms.Compare(new("grip-strength", Tested, MeasureStatus.Completed, 40, Side.Left, "e"), new(BirthDate: new(1999, 1, 1), Sex: Sex.Male));
        Assert.Contains("SD unconfirmed", found.Text);
    }

    [Fact]
    public void Not_completed_no_table_and_no_birth_date_are_refused()
    {
        var man = new PersonContext(BirthDate: new(1980, 1, 1), Sex: Sex.Male);
        Assert.Equal("value", Refused(new("nine-hole-peg", Tested, MeasureStatus.StoppedAtLimit, null, Side.Left, "e"), man));
        Assert.Equal("measure", Refused(new("arat", Tested, MeasureStatus.Completed, 20, Side.Left, "e"), man));
        Assert.Equal("birthDate", Refused(new("grip-strength", Tested, MeasureStatus.Completed, 20, Side.Left, "e"), man with { BirthDate = null }));

        static string Refused(MeasureResult result, PersonContext person) => Assert.Throws<UnfitInputException>(() => Norms.Compare(result, person)).Problem.Element;
    }

    [Fact]
    public void Tables_hold_the_cells_that_were_counted() =>
        Assert.Equal([("massy-westropp-2011-grip", 24), ("mathiowetz-1985-box-and-block", 48), ("mathiowetz-1985-grip", 48), ("mathiowetz-1985-nine-hole-peg", 48), ("mathiowetz-1985-tip-pinch", 46)],
            Norms.Tables.Select(t => (t.Id, t.Cells.Count)));

    [Fact(DisplayName = "published: Mathiowetz 1985 prints men's right grip of 60 to 64 below that of 65 to 69; it is not smoothed")]
    public void Norms_are_as_printed()
    {
        var men = Norms.Tables.Single(t => t.Id == "mathiowetz-1985-grip").Cells.Where(c => c is { Sex: Sex.Male, Hand: NormHand.Right }).ToDictionary(c => c.FromAge, c => c.Mean);
        Assert.Equal((89.7m, 91.1m), (men[60], men[65]));
    }

    [Fact]
    public void Derived_scores_refuse_what_they_cannot_answer()
    {
        Assert.Equal("seconds", Assert.Throws<UnfitInputException>(() => DerivedScores.WalkingSpeed(10, 0)).Problem.Element);
        Assert.Equal("metres", Assert.Throws<UnfitInputException>(() => DerivedScores.WalkingSpeed(0, 10)).Problem.Element);
        Assert.Throws<UnfitInputException>(() => DerivedScores.WolfMedian([]));
        Assert.Throws<UnfitInputException>(() => DerivedScores.WolfMedian([0m]));
        Assert.Throws<UnfitInputException>(() => DerivedScores.StrokeImpactHand([1, 2, 3, 4]));
        Assert.Throws<UnfitInputException>(() => DerivedScores.StrokeImpactHand([1, 2, 3, 4, 6]));
        Assert.Throws<UnfitInputException>(() => DerivedScores.StrokeImpactHand([0, 2, 3, 4, 5]));
        Assert.Throws<UnfitInputException>(() => DerivedScores.MeanOfAnswered([5.5m], 0, 5));
        Assert.Throws<UnfitInputException>(() => DerivedScores.MeanOfAnswered([-0.5m], 0, 5));
    }

    [Fact]
    public void The_median_bears_tasks_not_done_until_it_falls_on_one()
    {
        Assert.Equal(4m, DerivedScores.WolfMedian([2, 4, null]));
        Assert.Null(DerivedScores.WolfMedian([2, null, null]));
        Assert.Null(DerivedScores.WolfMedian([2, null]));
        Assert.Equal(3m, DerivedScores.WolfMedian([4, 2]));
    }

    [Fact]
    public void Items_that_do_not_apply_leave_the_mean()
    {
        Assert.Equal((3m, 2), DerivedScores.MeanOfAnswered([2, null, 4], 0, 5));
        Assert.Null(DerivedScores.MeanOfAnswered([null], 0, 5));
        Assert.Equal((0m, 75m, 100m), (DerivedScores.StrokeImpactHand([1, 1, 1, 1, 1]), DerivedScores.StrokeImpactHand([4, 4, 4, 4, 4]), DerivedScores.StrokeImpactHand([5, 5, 5, 5, 5])));
    }
}
