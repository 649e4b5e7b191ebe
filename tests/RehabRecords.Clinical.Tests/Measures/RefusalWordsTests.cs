namespace RehabRecords.Clinical.Tests;

/// <summary>What a sender reads when a value is refused: the field, the value, what is allowed and what to do. Ranges are those of the catalogue.</summary>
public class RefusalWordsTests
{
    private static readonly DateTimeOffset At = new(2026, 3, 2, 10, 0, 0, TimeSpan.Zero);

    public static TheoryData<MeasureResult, string> Results => new()
    {
        { Of("nine-hole-peg", 30, null), "side is missing; allowed: left or right. Say which side was tested." },
        { Of("nine-hole-peg", 30, Side.Both), "side is both; allowed: left or right. Say which side was tested." },
        { Of("berg-balance", 30, Side.Left), "side is left; allowed: no side. Leave it out: Berg Balance Scale is of the whole person." },
        { Of("arat", null, Side.Left, MeasureStatus.StoppedAtLimit) with { TimeLimitSeconds = 60 },
            "status is stopped-at-limit; allowed: one of completed, unable, not-attempted, refused, not-applicable, invalid-trial. Use a status of this measure." },
        { Of("ten-metre-walk", 1, null) with { Variant = "uphill" }, "variant is uphill; allowed: one of comfortable, fast. Use a variant of the catalogue or leave it out." },
        { Of("berg-balance", 30, null) with { Variant = "short" }, "variant is short; allowed: none. Use a variant of the catalogue or leave it out." },
        { Of("nine-hole-peg", 30, Side.Left) with { PegsPlaced = 10 }, "pegsPlaced is 10; allowed: 0 to 9. Count the pegs in their holes when the test was stopped." },
        { Of("nine-hole-peg", 30, Side.Left) with { PegsPlaced = -1 }, "pegsPlaced is -1; allowed: 0 to 9. Count the pegs in their holes when the test was stopped." },
        { Of("arat", 30, Side.Left) with { PegsPlaced = 0 }, "pegsPlaced is 0; allowed: nothing, except for the Nine-Hole Peg Test. Leave it out." },
        { Of("nine-hole-peg", 30, Side.Left) with { TimeLimitSeconds = 3600.5m }, "timeLimitSeconds is 3600.5; allowed: above 0, at most 3600 s. Send the limit that was in force." },
        { Of("modified-ashworth", null, Side.Left) with { Grade = "5", Site = "wrist flexors" }, "grade is 5; allowed: one of 0, 1, 1+, 2, 3, 4. Send the grade as text." },
        { Of("modified-ashworth", 1.5m, Side.Left) with { Site = "wrist flexors" }, "grade is 1.5; allowed: one of 0, 1, 1+, 2, 3, 4. Send the grade as text." },
        { Of("modified-ashworth", null, Side.Left) with { Site = "wrist flexors" }, "grade is missing; allowed: one of 0, 1, 1+, 2, 3, 4. Send the grade as text." },
        { Of("modified-ashworth", 1, Side.Left, MeasureStatus.Unable) with { Site = "wrist flexors" }, "grade is 1; allowed: none with status unable. Leave the grade out or send status completed." },
        { Of("arat", 30, Side.Left) with { Grade = "3" }, "grade is 3; allowed: no grade: this measure has a value. Send value instead." },
        { Of("grip-strength", 20, Side.Left) with { Unit = "kg" }, "unit is kg; allowed: kgf or [lbf_av] or N. Send the value in one of these UCUM units." },
        { Of("nine-hole-peg", 100, Side.Left, MeasureStatus.Unable),
            "value is 100; allowed: none with status unable. Leave the value out (a time limit goes in timeLimitSeconds), or send status completed." },
        { Of("nine-hole-peg", null, Side.Left, MeasureStatus.StoppedAtLimit), "timeLimitSeconds is missing; allowed: the limit in seconds. Send the limit at which the test was stopped." },
        { Of("nine-hole-peg", 101, Side.Left) with { TimeLimitSeconds = 100 }, "value is 101; allowed: at most the limit of 100 s. Send status stopped-at-limit without a value, or correct the limit." },
        { Of("nine-hole-peg", null, Side.Left), "value is missing; allowed: above 0 s. Send the value, or the status that says why there is none." },
        { Of("nine-hole-peg", 0, Side.Left), "value is 0; allowed: above 0 s. Check the number and its unit." },
        { Of("wolf-time", 121, Side.Left), "value is 121; allowed: above 0, at most 120 s. Check the number and its unit." },
        { Of("grip-strength", -1, Side.Left), "value is -1; allowed: 0 or more, at most 120 kg. Check the number and its unit." },
        { Of("grip-strength", 300, Side.Left) with { Unit = "[lbf_av]" }, "value is 300; allowed: 0 or more, at most 120 kg. Check the number and its unit." },
        { Of("gas-level", 2.5m, null), "value is 2.5; allowed: -2 or more, at most 2 levels. Check the number and its unit." },
        { Of("barthel-100", 63, null), "value is 63; allowed: 0 or more, at most 100 points in steps of 5. Check the number." },
        { Of("exertion-0-10", 3.25m, null), "value is 3.25; allowed: 0 or more, at most 10 points in steps of 0.5. Check the number." },
        { Of("barthel-100", 63, null) with { Unit = "{score}" }, "value is 63; allowed: 0 or more, at most 100 points in steps of 5. Check the number." },
        { Of("nine-hole-peg", 30, Side.Left) with { Trials = [30, -1] }, "trials is -1; allowed: above 0 s. Check the number and its unit." },
    };

    [Theory]
    [MemberData(nameof(Results))]
    public void A_result_that_cannot_be_recorded(MeasureResult result, string message) =>
        Assert.Equal(message, Assert.Single(MeasureCatalogue.Default.Check(result)).Message);

    [Fact]
    public void A_count_from_1_in_steps_of_2_keeps_its_odd_numbers_and_any_lower_end_may_be_open()
    {
        string Said(string range, decimal value, string? unit = null) => string.Join(" ", MeasureCatalogue.Load([("Measures/x.json", $$"""
            { "id": "x", "order": 1, "title": "X", "recorded": "x", "unit": "1", "unitText": "points", {{range}} "decimals": 0, "direction": "neither", "scale": "score",
              "laterality": "whole-person", "statuses": ["completed"], "licence": "none", "source": { "citation": "c", "mark": "published" }, "otherUnits": [{ "unit": "{dozen}", "factor": 12 }] }
            """)]).Check(Of("x", value, null) with { Unit = unit }).Select(problem => problem.Message));
        Assert.Equal("", Said("\"minimum\": 1, \"step\": 2,", 5));
        Assert.Equal("value is 4; allowed: 1 or more points in steps of 2. Check the number.", Said("\"minimum\": 1, \"step\": 2,", 4));
        // A value of another unit cannot keep the step of the measure's own.
        Assert.Equal("", Said("\"minimum\": 1, \"step\": 2,", 1, "{dozen}"));
        Assert.Equal("value is 11; allowed: any, at most 10 points. Check the number and its unit.", Said("\"maximum\": 10,", 11));
    }

    [Fact]
    public void The_ends_of_limit_and_pegs_may_be_recorded()
    {
        Assert.Empty(MeasureCatalogue.Default.Check(Of("nine-hole-peg", null, Side.Left, MeasureStatus.StoppedAtLimit) with { TimeLimitSeconds = 3600, PegsPlaced = 0 }));
        Assert.Empty(MeasureCatalogue.Default.Check(Of("nine-hole-peg", null, Side.Left, MeasureStatus.StoppedAtLimit) with { TimeLimitSeconds = 0.5m, PegsPlaced = 9 }));
    }

    public static TheoryData<Func<object?>, string> Scores => new()
    {
        { () => DerivedScores.WalkingSpeed(-1, 10), "metres is -1; allowed: above 0. Give the distance that was timed." },
        { () => DerivedScores.WalkingSpeed(10, 0), "seconds is 0; allowed: above 0. Record unable as a status." },
        { () => DerivedScores.WolfMedian([]), "seconds is missing; allowed: one or more times above 0, null where not done. Check the times." },
        { () => DerivedScores.WolfMedian([4, 0]), "seconds is 0 or less; allowed: one or more times above 0, null where not done. Check the times." },
        { () => DerivedScores.MeanOfAnswered([3, 5.5m], 0, 5), "answers is 5.5; allowed: 0 to 5. Check the answers." },
        { () => DerivedScores.MeanOfAnswered([0.5m, 3], 1, 5), "answers is 0.5; allowed: 1 to 5. Check the answers." },
        { () => DerivedScores.StrokeImpactHand([1, 2, 6, 4, 5]), "answers is 1, 2, 6, 4, 5; allowed: five answers of 1 to 5. Check the answers." },
        { () => DerivedScores.Barthel100Of20(21), "barthel-20 is 21; allowed: 0 to 20. Check which version was used." },
        { () => DerivedScores.Barthel100Of20(-1), "barthel-20 is -1; allowed: 0 to 20. Check which version was used." },
        { () => ArmTestScore.Score(ArmTestSubscale.Gross, [1, 1, 1, 1]), "items is 4; allowed: at most 3 for gross. Check the subscale." },
        { () => ArmTestScore.Score(ArmTestSubscale.Gross, [2, 4]), "items[1] is 4; allowed: 0 to 3. Check the score." },
        { () => ArmTestScore.Score(ArmTestSubscale.Grip, [null, 1]), "items[0] is missing; allowed: 0 to 3. Test item 1 first." },
        { () => ArmTestScore.Score(ArmTestSubscale.Grip, [2, null, 2]), "items[1] is missing; allowed: 0 to 3. Test this item: the decision rules do not credit it." },
        { () => ArmTestScore.Total(18, 13, 18, 9), "grip is 13; allowed: 0 to 12. Check the subscale's sum." },
        { () => ArmTestScore.Total(18, 12, 18, -1), "gross is -1; allowed: 0 to 9. Check the subscale's sum." },
        { () => GoalAttainment.TScore([1, 1], [1]), "weights is 1 weights; allowed: 2, one for each goal. Give a weight for each goal." },
        { () => GoalAttainment.TScore([1], [-1]), "weight is -1; allowed: 0 or more. Weight is importance × difficulty." },
        { () => GoalAttainment.TScore([3], [1]), "level is 3; allowed: -2 to 2. Use one of these whole numbers." },
        { () => TheilSen.Fit([1, 2], [1]), "y is 1 values; allowed: 2 values, one for each x. Give pairs." },
        { () => TheilSen.Fit([1, 2], [1, double.NaN]), "value is NaN; allowed: a finite number. Leave out what was not measured." },
        { () => MeasurementError.StandardError(-1, 0.9), "sd is -1; allowed: a number of 0 or more. Check the value." },
        { () => MeasurementError.StandardError(1, 1.5), "icc is 1.5; allowed: 0 to 1. Give the reliability as a share." },
        { () => MeasurementError.DetectableChange(1, 80), "level is 80; allowed: 90 or 95. Use the level the paper states." },
        { () => MeasurementError.FromLimitsOfAgreement(2, 1), "upper is 1; allowed: a number not below 2. Give the lower limit first." },
        { () => SafetyScreen.Of(Home.Done(1), 11), "painLimit is 11; allowed: 0 to 10. Set the limit agreed with the person." },
        { () => StartingLevel.BandOf(Of("nine-hole-peg", 30, Side.Left)), "measure is nine-hole-peg; allowed: arat or fugl-meyer-upper-extremity. Use one of the two measures the bands are published for." },
        { () => StartingLevel.BandOf(Of("arat", null, Side.Left, MeasureStatus.Refused)), "value is missing; allowed: a completed result with a score. Measure again, or let the therapist choose the level." },
    };

    [Theory]
    [MemberData(nameof(Scores))]
    public void A_score_that_cannot_be_computed(Func<object?> score, string message) => Assert.Equal(message, Assert.Throws<UnfitInputException>(score).Message);

    [Fact]
    public void Codes_that_are_not_known_are_answered_with_all_that_are()
    {
        var measures = Assert.Single(MeasureCatalogue.Default.Check(Of("guess", 1, null))).Message;
        Assert.Equal(measures, Assert.Throws<UnfitInputException>(() => MeasureCatalogue.Default.Get("guess")).Message);
        Assert.StartsWith("measure is guess; allowed: one of arat, arat-grasp, arat-grip, arat-gross, arat-pinch, barthel-100, ", measures);
        Assert.Matches("wolf-functional-ability, wolf-time. Use an id of the catalogue.$", measures);
        var flags = Assert.Throws<UnfitInputException>(() => SafetyScreen.Of(Home.Done(1) with { RedFlags = ["tired"] }, 5)).Problem.Allowed;
        Assert.Equal($"one of {string.Join(", ", SafetyScreen.Catalogue.Select(flag => flag.Code))}", flags);
        Assert.Contains("face-droop, ", flags);
        Assert.Contains("warm-water, ", Assert.Throws<UnfitInputException>(() => Cautions.For(["loud-noise"], [])).Problem.Allowed);
    }

    [Fact]
    public void The_ends_of_every_score_are_scores()
    {
        Assert.Equal((0, 100), (DerivedScores.Barthel100Of20(0), DerivedScores.Barthel100Of20(20)));
        Assert.Equal((2.5m, 2), DerivedScores.MeanOfAnswered([0, 5], 0, 5));
        Assert.Equal(50, DerivedScores.StrokeImpactHand([1, 5, 1, 5, 3]));
        Assert.Equal(0, ArmTestScore.Total(0, 0, 0, 0));
        Assert.Equal((2, 0), (MeasurementError.FromLimitsOfAgreement(2, 2).Bias, MeasurementError.FromLimitsOfAgreement(2, 2).DetectableChange));
        Assert.Equal(3m, DerivedScores.WolfMedian([9, 3, 1]));
        Assert.Equal(5m, DerivedScores.WolfMedian([null, 5, 1]));
        Assert.Empty(SafetyScreen.Of(Home.Done(1, Home.Good(1)), 10));
        Assert.Equal("pain before 1, during 1, after 1, above the limit of 0", Assert.Single(SafetyScreen.Of(Home.Done(1, Home.Good(1)), 0)).Reason);
    }

    public static TheoryData<string, Action> NothingGiven => new()
    {
        { "measure", () => MeasureChange.Between(null!, Of("arat", 1, Side.Left), Of("arat", 1, Side.Left), new()) },
        { "first", () => MeasureChange.Between(MeasureCatalogue.Default.Get("arat"), null!, Of("arat", 1, Side.Left), new()) },
        { "last", () => MeasureChange.Between(MeasureCatalogue.Default.Get("arat"), Of("arat", 1, Side.Left), null!, new()) },
        { "person", () => MeasureChange.Between(MeasureCatalogue.Default.Get("arat"), Of("arat", 1, Side.Left), Of("arat", 1, Side.Left), null!) },
        { "catalogue", () => MeasureChange.All(null!, [], new()) },
        { "result", () => MeasureCatalogue.Default.Check(null!) },
        { "result", () => MeasureCatalogue.Default.Get("arat").ValueOf(null!) },
        { "trials", () => MeasureCatalogue.Default.Get("arat").Summary(null!) },
        { "seconds", () => DerivedScores.WolfMedian(null!) },
        { "answers", () => DerivedScores.MeanOfAnswered(null!, 0, 5) },
        { "answers", () => DerivedScores.StrokeImpactHand(null!) },
        { "items", () => ArmTestScore.Score(ArmTestSubscale.Grip, null!) },
        { "levels", () => GoalAttainment.TScore(null!, []) },
        { "weights", () => GoalAttainment.TScore([], null!) },
        { "goals", () => GoalAttainment.Of(null!) },
        { "x", () => TheilSen.Fit(null!, []) },
        { "y", () => TheilSen.Fit([], null!) },
        { "points", () => Trend.Of(null!, Direction.Neither, "s") },
        { "input", () => Progression.Suggest(null!) },
        { "set", () => ProgressionRules.Default.With("2", null!) },
        { "session", () => SafetyScreen.Of(null!, 5) },
        { "onExercise", () => Cautions.For(null!, []) },
        { "ofPerson", () => Cautions.For([], null!) },
        { "plan", () => Dose.PerWeek(null!, [], Home.Start) },
        { "reports", () => Dose.PerWeek([], null!, Home.Start) },
        { "plan", () => Adherence.OfProgramme(null!, [], Home.Start, Home.Start) },
        { "reports", () => Adherence.OfProgramme([], null!, Home.Start, Home.Start) },
        { "plan", () => Adherence.OfExercise("pegs", null!, [], Home.Start, Home.Start) },
        { "rule", () => Adherence.OfProgramme([], [], Home.Start, Home.Start).Meets(null!) },
        { "result", () => StartingLevel.BandOf(null!) },
        { "finding", () => StartingLevel.Propose(null!, []) },
        { "levels", () => StartingLevel.Propose(StartingLevel.BandOf(Of("arat", 30, Side.Left)), null!) },
        { "levels", () => StartingLevel.Choose(1, "r", null, null!) },
        { "filled", () => ReportingCheck.Score(ReportingStandard.Cert, null!) },
        { "score", () => ReportingCheck.Below(null!, 1, []) },
        { "needed", () => ReportingCheck.Below(ReportingCheck.Score(ReportingStandard.Cert, []), 1, null!) },
    };

    [Theory]
    [MemberData(nameof(NothingGiven))]
    public void A_caller_that_gives_nothing_is_told_which_argument(string argument, Action call) => Assert.Equal(argument, Assert.Throws<ArgumentNullException>(call).ParamName);

    private static MeasureResult Of(string measure, decimal? value, Side? side, MeasureStatus status = MeasureStatus.Completed) => new(measure, At, status, value, side, "e");
}
