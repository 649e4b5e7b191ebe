namespace RehabRecords.Clinical.Tests;

public class ChangeTests
{
    private static readonly DateTimeOffset First = new(2026, 3, 2, 10, 0, 0, TimeSpan.Zero);
    private static readonly PersonContext LeftAffected = new(Side.Left, Side.Right);

    [Theory]
    [InlineData("nine-hole-peg", Side.Left, 62.0, 47.0, ChangeClass.BelowDetectable, ChangeDirection.Improved, 32.8, "published: Chen 2009, more affected hand")]
    [InlineData("nine-hole-peg", Side.Right, 28.0, 21.5, ChangeClass.DetectableImportanceUnknown, ChangeDirection.Improved, 6.2, "published: Chen 2009, less affected hand")]
    [InlineData("box-and-block", Side.Left, 20, 25, ChangeClass.BelowDetectable, ChangeDirection.Improved, 5.5, "published: Chen 2009, 5 of 5.5")]
    [InlineData("box-and-block", Side.Left, 20, 26, ChangeClass.DetectableImportanceUnknown, ChangeDirection.Improved, 5.5, "published: Chen 2009, 6 of 5.5")]
    [InlineData("box-and-block", Side.Left, 26, 20, ChangeClass.DetectableImportanceUnknown, ChangeDirection.Worsened, 5.5, "published: Chen 2009, worse by as much")]
    [InlineData("nine-hole-peg", Side.Right, 21.5, 28.0, ChangeClass.DetectableImportanceUnknown, ChangeDirection.Worsened, 6.2, "published: Chen 2009, slower")]
    public void A_hand_test_is_read_against_the_row_of_its_hand(
        string measure, Side side, double from, double to, ChangeClass kind, ChangeDirection direction, double mdc, string source)
    {
        var change = Change(measure, side, (decimal)from, (decimal)to, LeftAffected);
        Assert.Equal((kind, direction), (change.Class, change.Direction));
        Assert.True((decimal)mdc == change.Detectable!.Value, source);
        Assert.Null(change.Detectable.Misfit);
        Assert.Contains("Chen HM 2009", change.Text);
        Assert.Contains("95 %", change.Text);
        Assert.Contains($"{mdc:0.0} ", change.Text);
        Assert.Equal(["first", "last"], change.Evidence);
    }

    [Fact(DisplayName = "published: Lin 2010, hand domain 40 to 60 reaches 17.8 but not 25.9: important, inside measurement error")]
    public void Important_but_inside_measurement_error()
    {
        var change = Change("stroke-impact-hand", null, 40, 60, LeftAffected);
        Assert.Equal(ChangeClass.ImportantWithinError, change.Class);
        Assert.Contains("reached, but inside measurement error", change.Text);
    }

    [Theory]
    [InlineData(Side.Left, ChangeClass.Both, 5.0, "published: Lang 2008 5.0 kg, affected dominant, reached at the boundary")]
    [InlineData(Side.Right, ChangeClass.DetectableBelowImportant, 6.2, "published: Lang 2008 6.2 kg, affected non-dominant, not reached")]
    public void Grip_of_12_to_17_kg_early_after_stroke(Side dominant, ChangeClass kind, double mcid, string source)
    {
        var person = new PersonContext(Side.Left, dominant, DateOnly.FromDateTime(First.DateTime).AddDays(-10));
        var change = Change("grip-strength", Side.Left, 12.0m, 17.0m, person, 16);
        Assert.Equal(kind, change.Class);
        Assert.True((decimal)mcid == change.Important!.Value, source);
        Assert.Equal(2.9m, change.Detectable!.Value);
        Assert.Null(change.Important.Misfit);
    }

    [Fact(DisplayName = "published: Tilson 2010, 10 m in 12.5 s then 10.0 s is 0.80 to 1.00 m/s and reaches 0.16 between days 20 and 60")]
    public void Walking_speed_early_after_stroke()
    {
        var (from, to) = (DerivedScores.WalkingSpeed(10, 12.5m), DerivedScores.WalkingSpeed(10, 10));
        Assert.Equal((0.80m, 1.00m), (from, to));
        var change = Change("ten-metre-walk", null, from, to, new(Onset: DateOnly.FromDateTime(First.DateTime).AddDays(-20)), 40);
        Assert.Equal("tilson-2010", change.Important!.Row.Id);
        Assert.Null(change.Important.Misfit);
        Assert.Equal(0.20m, change.Difference);
        Assert.True(change.Difference >= change.Important.Value);
        // The detectable change was found in chronic stroke: it is used, and said to be of another population.
        Assert.Contains("different population: chronic stroke", change.Detectable!.Misfit);
        Assert.Contains("days 20 and 60 after onset", change.Text);
    }

    [Fact(DisplayName = "published: a change of exactly 0.16 m/s counts as reached, which binary fractions would miss")]
    public void Reaching_is_at_the_threshold()
    {
        var change = Change("ten-metre-walk", null, 0.80m, 0.96m, new(Onset: DateOnly.FromDateTime(First.DateTime).AddDays(-30)), 20);
        Assert.Equal(ChangeClass.ImportantWithinError, change.Class);
    }

    [Fact(DisplayName = "published: Lin 2009 gives the Wolf time at 90 %, and the report never says 95 %")]
    public void The_level_is_that_of_the_row()
    {
        var change = Change("wolf-time", Side.Left, 20, 15, LeftAffected);
        Assert.Equal((90, 4.36m), (change.Detectable!.Row.Level, change.Detectable.Value));
        Assert.Contains("Minimal detectable change (90 %)", change.Text);
        Assert.DoesNotContain("95 %", change.Text);
    }

    [Fact(DisplayName = "rule: from stopped at 100 s with 4 pegs to 85 s is a change of category, with no difference and no threshold")]
    public void Crossing_could_not_complete_is_a_change_of_category()
    {
        var measure = MeasureCatalogue.Default.Get("nine-hole-peg");
        var stopped = new MeasureResult("nine-hole-peg", First, MeasureStatus.StoppedAtLimit, null, Side.Left, "first") { TimeLimitSeconds = 100, PegsPlaced = 4 };
        var completed = new MeasureResult("nine-hole-peg", First.AddDays(30), MeasureStatus.Completed, 85, Side.Left, "last");
        var better = MeasureChange.Between(measure, stopped, completed, LeftAffected);
        Assert.Equal((ChangeClass.CategoryChange, ChangeDirection.Improved), (better.Class, better.Direction));
        Assert.Equal((null, null, null), (better.Difference, better.Detectable, better.Important));
        Assert.Equal("Nine-Hole Peg Test, left hand: stopped at the limit of 100 s with 4 pegs placed, then completed: 85.0 s. "
            + "A change of category, better; no difference is computed.", better.Text);

        var worse = MeasureChange.Between(measure, completed with { MeasuredAt = First }, stopped with { MeasuredAt = First.AddDays(1) }, LeftAffected);
        Assert.Equal(ChangeDirection.Worsened, worse.Direction);
    }

    [Theory]
    [InlineData(4, 7, ChangeDirection.Improved)]
    [InlineData(7, 4, ChangeDirection.Worsened)]
    [InlineData(4, 4, ChangeDirection.Unchanged)]
    public void Stopped_both_times_compares_the_pegs_in_words(int had, int has, ChangeDirection direction)
    {
        MeasureResult Stopped(int days, int pegs) => new("nine-hole-peg", First.AddDays(days), MeasureStatus.StoppedAtLimit, null, Side.Left, $"{days}") { TimeLimitSeconds = 100, PegsPlaced = pegs };
        var change = MeasureChange.Between(MeasureCatalogue.Default.Get("nine-hole-peg"), Stopped(0, had), Stopped(9, has), LeftAffected);
        Assert.Equal(direction, change.Direction);
        Assert.Contains($"Pegs placed within the limit: {had}, then {has}", change.Text);
        Assert.Null(change.Difference);
    }

    [Theory]
    [InlineData(MeasureStatus.Unable, MeasureStatus.StoppedAtLimit, ChangeClass.CategoryChange, ChangeDirection.Improved)]
    [InlineData(MeasureStatus.StoppedAtLimit, MeasureStatus.Unable, ChangeClass.CategoryChange, ChangeDirection.Worsened)]
    [InlineData(MeasureStatus.Unable, MeasureStatus.Unable, ChangeClass.SameCategory, ChangeDirection.Unchanged)]
    [InlineData(MeasureStatus.Refused, MeasureStatus.Unable, ChangeClass.CategoryChange, ChangeDirection.Undirected)]
    [InlineData(MeasureStatus.Unable, MeasureStatus.NotAttempted, ChangeClass.CategoryChange, ChangeDirection.Undirected)]
    [InlineData(MeasureStatus.InvalidTrial, MeasureStatus.NotApplicable, ChangeClass.CategoryChange, ChangeDirection.Undirected)]
    public void Refused_or_not_attempted_says_nothing_of_ability(MeasureStatus first, MeasureStatus last, ChangeClass kind, ChangeDirection direction)
    {
        var change = MeasureChange.Between(MeasureCatalogue.Default.Get("nine-hole-peg"),
            new("nine-hole-peg", First, first, null, Side.Left, "a"), new("nine-hole-peg", First.AddDays(1), last, null, Side.Left, "b"), LeftAffected);
        Assert.Equal((kind, direction), (change.Class, change.Direction));
    }

    [Theory]
    [InlineData("modified-ashworth", "2", "1+", ChangeClass.CategoryChange, ChangeDirection.Improved)]
    [InlineData("modified-ashworth", "1", "1+", ChangeClass.CategoryChange, ChangeDirection.Worsened)]
    [InlineData("mrc-power", "4-", "4", ChangeClass.CategoryChange, ChangeDirection.Improved)]
    [InlineData("mrc-power", "3", "3", ChangeClass.SameCategory, ChangeDirection.Unchanged)]
    public void Grades_move_in_categories(string measure, string from, string to, ChangeClass kind, ChangeDirection direction)
    {
        MeasureResult Grade(int days, string grade) => new(measure, First.AddDays(days), MeasureStatus.Completed, null, Side.Left, $"{days}") { Grade = grade, Site = "wrist" };
        var change = MeasureChange.Between(MeasureCatalogue.Default.Get(measure), Grade(0, from), Grade(5, to), LeftAffected);
        Assert.Equal((kind, direction), (change.Class, change.Direction));
        Assert.Null(change.Difference);
        Assert.Contains($"left side, wrist: grade {from}, then grade {to}", change.Text);
    }

    [Fact]
    public void A_whole_number_stands_for_its_grade()
    {
        var change = Change("modified-rankin", null, 3, 2, LeftAffected);
        Assert.Equal((ChangeClass.CategoryChange, ChangeDirection.Improved), (change.Class, change.Direction));
        Assert.Contains("grade 3, then grade 2", change.Text);
    }

    [Theory]
    [InlineData(1.0, null, null, ChangeClass.NoThreshold)]
    [InlineData(0.9, 1.0, null, ChangeClass.BelowDetectable)]
    [InlineData(1.0, 1.0, null, ChangeClass.DetectableImportanceUnknown)]
    [InlineData(0.9, null, 1.0, ChangeClass.BelowImportantErrorUnknown)]
    [InlineData(1.0, null, 1.0, ChangeClass.ImportantErrorUnknown)]
    [InlineData(0.9, 1.0, 1.0, ChangeClass.BelowDetectable)]
    [InlineData(1.0, 1.0, 1.0, ChangeClass.Both)]
    [InlineData(1.5, 1.0, 2.0, ChangeClass.DetectableBelowImportant)]
    [InlineData(1.5, 2.0, 1.0, ChangeClass.ImportantWithinError)]
    public void The_classes(double size, double? mdc, double? mcid, ChangeClass kind) =>
        Assert.Equal(kind, MeasureChange.Classify((decimal)size, (decimal?)mdc, (decimal?)mcid));

    private static MeasureChange Change(string measure, Side? side, decimal from, decimal to, PersonContext person, int days = 30) =>
        MeasureChange.Between(MeasureCatalogue.Default.Get(measure),
            new(measure, First, MeasureStatus.Completed, from, side, "first"), new(measure, First.AddDays(days), MeasureStatus.Completed, to, side, "last"), person);
}
