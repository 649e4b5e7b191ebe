namespace RehabRecords.Clinical.Tests;

public class SafetyTests
{
    [Fact]
    public void Ticked_flags_come_most_urgent_first_and_once()
    {
        var session = Home.Done(1) with { RedFlags = ["night-pain", "dizziness", "face-droop", "dizziness"] };
        var raised = SafetyScreen.Of(session, 5);
        Assert.Equal(["face-droop", "dizziness", "night-pain"], raised.Select(r => r.Flag.Code));
        Assert.Equal([Urgency.Emergency, Urgency.UrgentReview, Urgency.NoteAtNextReview], raised.Select(r => r.Flag.Urgency));
        Assert.All(raised, r => Assert.Equal((Home.At(1), "ticked by the reporter", "session/1/10"), (r.Since, r.Reason, Assert.Single(r.Evidence))));
    }

    [Theory]
    [InlineData(5, false)]
    [InlineData(6, true)]
    public void Pain_above_the_limit_raises_a_flag_and_at_the_limit_does_not(int pain, bool raised)
    {
        foreach (var result in new[] { new ExerciseReport("pegs", "r") { PainBefore = pain }, new ExerciseReport("pegs", "r") { PainDuring = pain }, new ExerciseReport("pegs", "r") { PainAfter = pain } })
        {
            var found = SafetyScreen.Of(Home.Done(1, result), 5);
            Assert.Equal(raised ? ["pain-above-limit"] : [], found.Select(f => f.Flag.Code));
            if (raised)
                Assert.Contains("6, above the limit of 5", Assert.Single(found).Reason);
        }
    }

    [Theory]
    [InlineData("fall", "mild", "fall-without-injury")]
    [InlineData("fall", "moderate", "fall-with-injury")]
    [InlineData("fall", "severe", "fall-with-injury")]
    [InlineData("burn-or-scald", "mild", "burn-or-scald")]
    [InlineData("skin-injury", "severe", "skin-damage")]
    [InlineData("swelling", "mild", "new-swelling")]
    [InlineData("pain-flare", "moderate", "pain-lasting")]
    [InlineData("other", "severe", null)]
    public void Reported_harm_raises_its_flag(string kind, string severity, string? code)
    {
        var found = SafetyScreen.Of(Home.Done(1) with { Harms = [new(kind, severity, "harm/1")] }, 5);
        Assert.Equal(code is null ? [] : [code], found.Select(f => f.Flag.Code));
        if (code is not null)
            Assert.Equal(["harm/1"], found[0].Evidence);
    }

    [Fact]
    public void A_flag_of_several_reasons_names_them_all()
    {
        var found = Assert.Single(SafetyScreen.Of(Home.Missed(2) with { RedFlags = ["new-swelling"], Harms = [new("swelling", "mild", "harm/1")], RecordedAt = Home.At(3) }, 5));
        Assert.Equal("ticked by the reporter; reported harm: swelling, mild", found.Reason);
        Assert.Equal(["missed/2", "harm/1"], found.Evidence);
        Assert.Equal(Home.At(3), found.Since);
    }

    [Fact]
    public void A_quiet_session_raises_nothing() => Assert.Empty(SafetyScreen.Of(Home.Done(1, Home.Good(1)), 5));

    [Fact]
    public void Unknown_codes_and_limits_are_refused()
    {
        Assert.Equal("redFlags", Assert.Throws<UnfitInputException>(() => SafetyScreen.Of(Home.Done(1) with { RedFlags = ["tired"] }, 5)).Problem.Element);
        Assert.Equal("painLimit", Assert.Throws<UnfitInputException>(() => SafetyScreen.Of(Home.Done(1), 11)).Problem.Element);
        Assert.Equal("painLimit", Assert.Throws<UnfitInputException>(() => SafetyScreen.Of(Home.Done(1), -1)).Problem.Element);
        Assert.Null(SafetyScreen.Find("tired"));
    }

    [Fact]
    public void Emergencies_say_to_call_first_and_every_text_defers()
    {
        foreach (var flag in SafetyScreen.Catalogue)
        {
            if (flag.Urgency == Urgency.Emergency)
                Assert.Matches("(?i)call the emergency number \\(999, 112 or 911\\) now", flag.Text);
            Assert.Matches("(?i)local policy", flag.Text);
            Assert.DoesNotMatch("(?i)diagnos|safe to|nothing to worry|no cause for", flag.Text);
            Assert.True(flag.Freezes, flag.Code);
        }
    }

    [Theory]
    [InlineData("warm-water", "reduced-sensation", true)]
    [InlineData("warm-water", "falls-risk", false)]
    [InlineData("standing", "falls-risk", true)]
    [InlineData("small-objects", "swallowing", true)]
    [InlineData("fatigue", "falls-risk", true)]
    public void A_caution_applies_under_the_persons_precaution(string caution, string precaution, bool applies) =>
        Assert.Equal(applies, Cautions.For([caution], [precaution]).Any(c => c.Code == caution));

    [Fact]
    public void Without_an_assessment_every_caution_of_the_exercise_applies_and_no_other()
    {
        Assert.Equal(["warm-water", "standing"], Cautions.For(["standing", "warm-water"], [], recorded: false).Select(c => c.Code));
        Assert.Empty(Cautions.For(["standing", "warm-water"], []));
        Assert.Equal("cautions", Assert.Throws<UnfitInputException>(() => Cautions.For(["loud-noise"], [])).Problem.Element);
    }

    [Fact(DisplayName = "published: HSE HSIS6, immersion at most 44 degrees; the hand-task cap of 41 is common practice")]
    public void Temperature_limits()
    {
        var limits = Cautions.Temperatures.ToDictionary(l => l.Id);
        Assert.Equal((44m, Mark.Published), (limits["immersion"].Celsius, limits["immersion"].Source.Mark));
        Assert.Equal((41m, Mark.CommonPractice), (limits["hand-task"].Celsius, limits["hand-task"].Source.Mark));
        Assert.Contains("at most 41 °C", Cautions.Catalogue.Single(c => c.Code == "warm-water").Text);
        Assert.Contains("Follow local policy", Cautions.Closing);
        Assert.Contains("registered clinician", Cautions.Closing);
    }

    [Fact]
    public void Stop_rules_are_marked_as_such() =>
        Assert.Equal(["shoulder-pain", "swelling"], Cautions.Catalogue.Where(c => c.Stop).Select(c => c.Code));
}
