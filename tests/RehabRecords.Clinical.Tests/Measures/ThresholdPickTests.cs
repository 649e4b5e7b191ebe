namespace RehabRecords.Clinical.Tests;

public class ThresholdPickTests
{
    private static readonly DateTimeOffset First = new(2026, 3, 2, 10, 0, 0, TimeSpan.Zero);
    private static readonly DateOnly Day = DateOnly.FromDateTime(First.DateTime);

    /// <summary>Every row of the catalogue that can be picked, with a person and hand it fits.</summary>
    public static TheoryData<string, string> Rows
    {
        get
        {
            var rows = new TheoryData<string, string>();
            foreach (var measure in MeasureCatalogue.Default.All)
                foreach (var row in measure.Thresholds.Where(t => t.Source.Mark != Mark.FromMemory && t.Value is not null))
                    rows.Add(measure.Id, row.Id);
            return rows;
        }
    }

    [Theory]
    [MemberData(nameof(Rows))]
    public void Each_row_is_reached_at_its_value_and_not_one_step_below(string id, string rowId)
    {
        var measure = MeasureCatalogue.Default.Get(id);
        var row = measure.Thresholds.Single(t => t.Id == rowId);
        var only = MeasureCatalogue.Load([($"Measures/{id}.json", Only(id, rowId))]).All[0];
        var step = measure.Step ?? 0.01m;
        foreach (var (size, reached) in new[] { (row.Value!.Value - step, false), (row.Value.Value, true), (row.Value.Value + step, true) })
        {
            var (person, side, last) = Fitting(row);
            var change = MeasureChange.Between(only, Result(id, 0, side, First, row.Variant), Result(id, size, side, last, row.Variant), person);
            var choice = row.Kind == ThresholdKind.Detectable ? change.Detectable : change.Important;
            Assert.Equal((rowId, null), (choice!.Row.Id, choice.Misfit));
            Assert.True(reached == (change.Class is ChangeClass.DetectableImportanceUnknown or ChangeClass.ImportantErrorUnknown), $"{id} {rowId} {size}: {change.Class}");
            Assert.Contains(row.Source.Citation, change.Text);
        }
    }

    [Fact]
    public void A_row_of_the_other_hand_is_never_used()
    {
        var noRow = MeasureCatalogue.Load([("Measures/grip-strength.json", Only("grip-strength", "lang-2008-dominant"))]).All[0];
        Assert.Equal(ChangeClass.NoThreshold, Between(noRow, Side.Right, new(Side.Left, Side.Left, Day), 10).Class);
        Assert.Equal(ChangeClass.NoThreshold, Between(noRow, Side.Left, new(Side.Left, Side.Right, Day), 10).Class);
    }

    [Fact]
    public void Without_the_affected_side_the_larger_threshold_is_used_and_said_to_be_unconfirmed()
    {
        foreach (var person in new[] { new PersonContext(), new PersonContext(Side.Both), new PersonContext(Side.None) })
        {
            var change = Between(MeasureCatalogue.Default.Get("nine-hole-peg"), Side.Left, person, 20);
            Assert.Equal("chen-2009-more-affected", change.Detectable!.Row.Id);
            Assert.Contains("hand not confirmed: row of the more affected hand; one affected side is not recorded", change.Text);
            Assert.Equal(ChangeClass.BelowDetectable, change.Class);
        }
    }

    [Fact]
    public void Without_dominance_the_larger_important_change_is_used()
    {
        var change = Between(MeasureCatalogue.Default.Get("grip-strength"), Side.Left, new(Side.Left, null, Day), 6);
        Assert.Equal("lang-2008-non-dominant", change.Important!.Row.Id);
        Assert.Contains("one dominant hand is not recorded", change.Important.Misfit);
    }

    [Theory]
    [InlineData(10, 20, "lang-2008-dominant", null)]
    [InlineData(200, 230, "lang-2013-chronic", null)]
    [InlineData(60, 90, "lang-2008-dominant", "different population: early after stroke")]
    [InlineData(null, 30, "lang-2008-dominant", "population not confirmed: early after stroke")]
    public void The_days_since_onset_pick_the_row(int? onset, int last, string row, string? misfit)
    {
        var person = new PersonContext(Side.Left, Side.Left, onset is { } days ? Day.AddDays(-days) : null);
        var change = Between(MeasureCatalogue.Default.Get("arat"), Side.Left, person, 15, last - (onset ?? 0));
        Assert.Equal(row, change.Important!.Row.Id);
        if (misfit is null)
            Assert.Null(change.Important.Misfit);
        else
            Assert.StartsWith(misfit, change.Important.Misfit);
    }

    [Theory]
    [InlineData(0, 42, true)]
    [InlineData(0, 43, false)]
    public void Both_tests_must_lie_in_the_window(int firstDay, int lastDay, bool fits)
    {
        var change = Between(MeasureCatalogue.Default.Get("grip-strength"), Side.Left, new(Side.Left, Side.Left, Day.AddDays(-firstDay)), 6, lastDay - firstDay);
        Assert.Equal(fits, change.Important!.Misfit is null);
        if (!fits)
            Assert.Contains("days 0 to 42 (window set here); these tests were on days 0 and 43 after onset", change.Important.Misfit);
    }

    [Theory]
    [InlineData(19, 40, "perera-2006")]
    [InlineData(20, 40, "tilson-2010")]
    [InlineData(20, 60, "tilson-2010")]
    [InlineData(20, 61, "perera-2006")]
    public void A_published_window_is_kept_to_the_day(int firstDay, int lastDay, string row)
    {
        var change = MeasureChange.Between(MeasureCatalogue.Default.Get("ten-metre-walk"), Result("ten-metre-walk", 0.5m, null, First, null),
            Result("ten-metre-walk", 0.7m, null, First.AddDays(lastDay - firstDay), null), new(Onset: Day.AddDays(-firstDay)));
        Assert.Equal(row, change.Important!.Row.Id);
    }

    [Fact]
    public void Another_condition_is_shown_as_a_different_population()
    {
        var change = MeasureChange.Between(MeasureCatalogue.Default.Get("pain-task"), Result("pain-task", 6, null, First, null), Result("pain-task", 3, null, First.AddDays(9), null), new());
        Assert.Equal(("michener-2011", ChangeClass.ImportantErrorUnknown), (change.Important!.Row.Id, change.Class));
        Assert.Equal("different population: rehabilitation of shoulder pain, not stroke", change.Important.Misfit);
        Assert.Contains("Important change: different population", change.Text);
    }

    [Fact(DisplayName = "published: Hervault 2017, a row in per cent is taken of the first value, for the condition it was found in")]
    public void Rows_in_per_cent()
    {
        var person = new PersonContext(DominantHand: Side.Right, Condition: "multiple sclerosis");
        var change = Between(MeasureCatalogue.Default.Get("nine-hole-peg"), Side.Right, person, 10, 30, 50);
        Assert.Equal(("hervault-2017-dominant", 9.7m), (change.Detectable!.Row.Id, change.Detectable.Value));
        Assert.Equal("hervault-2017-non-dominant", Between(MeasureCatalogue.Default.Get("nine-hole-peg"), Side.Left, person, 10, 30, 50).Detectable!.Row.Id);
    }

    [Fact]
    public void The_larger_of_equal_rows_is_used_and_the_others_named()
    {
        var change = MeasureChange.Between(MeasureCatalogue.Default.Get("timed-up-and-go"), Result("timed-up-and-go", 20, null, First, null),
            Result("timed-up-and-go", 15, null, First.AddDays(9), null), new(Onset: Day.AddDays(-400)));
        Assert.Equal(8m, change.Detectable!.Value);
        Assert.Contains("also published: 3.2 (Alghadir AH 2018 BMC Neurol 18:141)", change.Detectable.Why);
    }

    [Fact]
    public void Only_like_is_compared_with_like()
    {
        var peg = MeasureCatalogue.Default.Get("nine-hole-peg");
        var left = Result("nine-hole-peg", 50, Side.Left, First, null);
        Assert.Equal("side", Refused(left, left with { Side = Side.Right }));
        Assert.Equal("measure", Refused(left, left with { Measure = "arat" }));
        Assert.Equal("measure", Refused(left with { Measure = "arat" }, left));
        Assert.Equal("site", Refused(left, left with { Site = "elsewhere" }));
        Assert.Equal("variant", Refused(left, left with { Variant = "pegs in 50 s" }));
        Assert.Equal("measuredAt", Refused(left, left with { MeasuredAt = First.AddTicks(-1) }));
        Assert.Equal("value", Refused(left, left with { Value = null }));

        string Refused(MeasureResult first, MeasureResult last) =>
            Assert.Throws<UnfitInputException>(() => MeasureChange.Between(peg, first, last, new())).Problem.Element;
    }

    [Fact]
    public void A_series_gives_its_first_to_last_change_in_order_of_the_catalogue()
    {
        var results = new List<MeasureResult>
        {
            Result("arat", 20, Side.Left, First, null), Result("arat", 30, Side.Left, First.AddDays(20), null), Result("arat", 25, Side.Left, First.AddDays(10), null),
            Result("nine-hole-peg", null, Side.Left, First, null) with { Status = MeasureStatus.Unable },
            Result("nine-hole-peg", 90, Side.Left, First.AddDays(5), null), Result("nine-hole-peg", 50, Side.Left, First.AddDays(9), null),
            Result("nine-hole-peg", 30, Side.Right, First, null),
            Result("something-else", 1, null, First, null), Result("something-else", 2, null, First.AddDays(1), null),
        };
        var changes = MeasureChange.All(MeasureCatalogue.Default, results, new(Side.Left));
        Assert.Equal([("nine-hole-peg", null), ("nine-hole-peg", -40m), ("arat", 10m)], changes.Select(c => (c.Measure.Id, c.Difference)));
        Assert.Contains(changes[1].Notes, note => note.StartsWith("First to second test", StringComparison.Ordinal));
    }

    [Fact(DisplayName = "published: Ekstrand 2016, a gain from first to second test may be practice; a loss or a third test may not be excused")]
    public void Practice_effect()
    {
        var peg = MeasureCatalogue.Default.Get("nine-hole-peg");
        bool Noted(decimal from, decimal to, bool firstToSecond, string measure = "nine-hole-peg") => MeasureChange.Between(MeasureCatalogue.Default.Get(measure),
            Result(measure, from, Side.Left, First, null), Result(measure, to, Side.Left, First.AddDays(7), null), new(Side.Left), firstToSecond).Notes.Any(n => n.Contains("practice"));
        Assert.True(Noted(60, 50, true));
        Assert.False(Noted(50, 60, true));
        Assert.False(Noted(60, 50, false));
        Assert.False(Noted(20, 30, true, "arat"));
        Assert.Contains("Ekstrand", Assert.Single(peg.Remarks).Source.Citation);
    }

    private static MeasureChange Between(MeasureDefinition measure, Side side, PersonContext person, decimal size, int days = 10, decimal from = 60) =>
        MeasureChange.Between(measure, Result(measure.Id, from, side, First, null), Result(measure.Id, from + size, side, First.AddDays(days), null), person);

    private static MeasureResult Result(string measure, decimal? value, Side? side, DateTimeOffset at, string? variant) =>
        new(measure, at, MeasureStatus.Completed, value, side, $"{at:O}") { Variant = variant };

    private static (PersonContext Person, Side? Side, DateTimeOffset Last) Fitting(Threshold row)
    {
        var days = row.Population.FromDay ?? 0;
        var person = new PersonContext(Side.Left, row.Hand is HandRole.AffectedNonDominant ? Side.Right : Side.Left, Day.AddDays(-days), Condition: row.Population.Condition);
        Side? side = row.Hand switch { HandRole.Any => null, HandRole.LessAffected => Side.Right, _ => Side.Left };
        return (person, side, First.AddDays(1));
    }

    /// <summary>The measure's file with one of its rows, as a clinic might keep it.</summary>
    private static string Only(string id, string row)
    {
        var json = System.Text.Json.Nodes.JsonNode.Parse(File.ReadAllText(Path.Combine(Repository.Root, $"src/RehabRecords.Clinical/Data/Measures/{id}.json")))!;
        var rows = json["thresholds"]!.AsArray();
        for (var i = rows.Count - 1; i >= 0; i--)
            if (rows[i]!["id"]!.GetValue<string>() != row)
                rows.RemoveAt(i);
        return json.ToJsonString();
    }
}
