namespace RehabRecords.Clinical.Tests;

/// <summary>Which of two rows is used, by made-up rows that differ in one thing. The order of preference is a rule of this library.</summary>
public class WhichRowTests
{
    private const string Base = "\"value\": 5, \"level\": 95, \"hand\": \"any\", \"population\": { \"condition\": \"stroke\", \"text\": \"stroke\" }";
    private const string Window = "\"population\": { \"condition\": \"stroke\", \"text\": \"stroke\", \"fromDay\": 5, \"toDay\": 60, \"windowMark\": \"published\" }";
    private static readonly DateTimeOffset First = new(2026, 3, 2, 10, 0, 0, TimeSpan.Zero);
    private static readonly DateOnly Day = DateOnly.FromDateTime(First.DateTime);

    /// <summary>The person is 10 days after a stroke at the first test and 20 at the last; the left hand is tested, affected and dominant.</summary>
    public static TheoryData<string, string, string> Better => new()
    {
        { "the person's condition before another, even if its hand is the very one", Base, Base.Replace("\"stroke\", \"text\"", "\"ataxia\", \"text\"").Replace("\"any\"", "\"more-affected\"") },
        { "the very hand before any hand", Base.Replace("\"any\"", "\"more-affected\""), Base },
        { "a window that fits before none", With(Window), Base },
        { "no window before one that does not fit", Base, With(Window.Replace("60", "19")) },
        { "the shorter window of two that fit", With(Window.Replace("60", "20")), With(Window) },
        { "the window that begins later, where both end alike", With(Window.Replace("5,", "9,")), With(Window) },
        { "a window with an end before one without", With(Window), With(Window.Replace("\"toDay\": 60, ", "")) },
        { "a window without an end before none", With(Window.Replace("\"toDay\": 60, ", "")), Base },
        { "a window without a beginning before none", With(Window.Replace("\"fromDay\": 5, ", "")), Base },
        { "the higher level, 95 before 90", Base, Base.Replace("95", "90") },
        { "seen in print before a secondary source", Base, Base.Replace("\"value\": 5", "\"value\": 7") + ", \"source\": { \"citation\": \"c\", \"mark\": \"secondary\" }" },
        { "the larger value, which is the cautious one", Base.Replace("\"value\": 5", "\"value\": 7"), Base },
        { "the larger value also where one is in per cent: 10 % of 60 is 6", Base.Replace("\"value\": 5", "\"percent\": 10"), Base },
    };

    [Theory]
    [MemberData(nameof(Better))]
    public void Is_used_in_whatever_order_the_file_lists_them(string why, string used, string other)
    {
        foreach (var (a, b) in new[] { ("a", "b"), ("b", "a") })
            foreach (var rows in new[] { new[] { Row(a, used), Row(b, other) }, [Row(b, other), Row(a, used)] })
                Assert.True(a == Between(rows).Detectable!.Row.Id, $"{why}: {a} of {string.Join(", ", rows)}");
    }

    [Fact]
    public void Of_rows_alike_the_first_by_name_is_used() => Assert.Equal("a", Between([Row("b", Base), Row("a", Base)]).Detectable!.Row.Id);

    [Fact]
    public void Rows_from_memory_of_another_variant_or_another_hand_are_not_used()
    {
        Assert.Null(Between([Row("a", Base + ", \"source\": { \"citation\": \"c\", \"mark\": \"from-memory\" }")]).Detectable);
        Assert.Null(Between([Row("a", Base + ", \"variant\": \"slow\"")]).Detectable);
        Assert.NotNull(Between([Row("a", Base + ", \"variant\": \"quick\"")]).Detectable);
    }

    [Theory]
    [InlineData("any", Side.Left, Side.Left, true, null)]
    [InlineData("more-affected", Side.Left, null, true, null)]
    [InlineData("less-affected", Side.Right, null, true, null)]
    [InlineData("affected-dominant", Side.Left, Side.Left, true, null)]
    [InlineData("affected-non-dominant", Side.Left, Side.Right, true, null)]
    [InlineData("dominant", Side.Right, Side.Left, true, null)]
    [InlineData("non-dominant", Side.Right, Side.Right, true, null)]
    [InlineData("more-affected", Side.Right, Side.Left, false, null)]
    [InlineData("less-affected", Side.Left, Side.Left, false, null)]
    [InlineData("affected-dominant", Side.Left, Side.Right, false, null)]
    [InlineData("affected-dominant", Side.Right, null, false, null)]
    [InlineData("affected-non-dominant", Side.Left, Side.Left, false, null)]
    [InlineData("dominant", Side.Left, Side.Right, false, null)]
    [InlineData("non-dominant", Side.Left, Side.Left, false, null)]
    [InlineData("more-affected", Side.Both, Side.Left, true, "hand not confirmed: row of the more affected hand; one affected side is not recorded")]
    [InlineData("less-affected", null, Side.Left, true, "hand not confirmed: row of the less affected hand; one affected side is not recorded")]
    [InlineData("affected-dominant", Side.Left, null, true, "hand not confirmed: row of the affected dominant hand; one dominant hand is not recorded")]
    [InlineData("affected-non-dominant", Side.Left, Side.Both, true, "hand not confirmed: row of the affected non-dominant hand; one dominant hand is not recorded")]
    [InlineData("dominant", Side.Left, null, true, "hand not confirmed: row of the dominant hand; one dominant hand is not recorded")]
    [InlineData("non-dominant", Side.Left, null, true, "hand not confirmed: row of the non-dominant hand; one dominant hand is not recorded")]
    public void A_row_of_a_hand_fits_the_tested_left_hand_by_what_is_recorded(string hand, Side? affected, Side? dominant, bool used, string? misfit)
    {
        var choice = Between([Row("a", Base.Replace("\"any\"", $"\"{hand}\""))], new(affected, dominant, Day.AddDays(-10))).Detectable;
        Assert.Equal(used, choice is not null);
        Assert.Equal(misfit, choice?.Misfit);
    }

    public static TheoryData<string, string, int?, string?> Misfits => new()
    {
        { "inside", Window, 10, null },
        { "the first test before the first day", Window, 4, "different population: stroke, days 5 to 60; these tests were on days 4 and 14 after onset" },
        { "on the first day", Window, 5, null },
        { "the last test on the last day", Window, 50, null },
        { "the last test after the last day", Window, 51, "different population: stroke, days 5 to 60; these tests were on days 51 and 61 after onset" },
        { "no onset", Window, null, "population not confirmed: stroke, days 5 to 60; day of onset not recorded or after a test" },
        { "onset between the tests", Window, -3, "population not confirmed: stroke, days 5 to 60; day of onset not recorded or after a test" },
        { "a window set here says so", Window.Replace("published", "common-practice"), 100, "different population: stroke, days 5 to 60 (window set here); these tests were on days 100 and 110 after onset" },
        { "a window without an end", Window.Replace("\"toDay\": 60, ", ""), 1, "different population: stroke, from day 5; these tests were on days 1 and 11 after onset" },
        { "a window without a beginning", Window.Replace("\"fromDay\": 5, ", ""), 70, "different population: stroke, days 0 to 60; these tests were on days 70 and 80 after onset" },
    };

    [Theory]
    [MemberData(nameof(Misfits))]
    public void A_window_that_does_not_fit_is_told_in_days(string why, string window, int? days, string? misfit)
    {
        var found = Between([Row("a", With(window))], new(Side.Left, Side.Left, days is { } ago ? Day.AddDays(-ago) : null)).Detectable!.Misfit;
        Assert.True(misfit == found, $"{why}: {found}");
    }

    [Fact]
    public void Two_misfits_are_both_told() =>
        Assert.Equal("different population: ataxia; hand not confirmed: row of the dominant hand; one dominant hand is not recorded",
            Between([Row("a", Base.Replace("\"stroke\", \"text\": \"stroke\"", "\"ataxia\", \"text\": \"ataxia\"").Replace("\"any\"", "\"dominant\""))], new(Side.Left, null, Day.AddDays(-10))).Detectable!.Misfit);

    [Fact]
    public void Why_names_the_hand_the_people_and_what_else_is_published_for_them()
    {
        Assert.Equal("any hand; stroke", Between([Row("a", Base)]).Detectable!.Why);
        string[] rows =
        [
            Row("a", Base.Replace("\"any\"", "\"more-affected\"")), Row("b", Base), Row("c", Base.Replace("\"value\": 5", "\"value\": 4.5")), Row("d", Base.Replace("\"value\": 5", "\"value\": 6")),
            Row("e", Base.Replace("\"value\": 5", "\"value\": 9").Replace("\"stroke\", \"text\"", "\"ataxia\", \"text\"")),
        ];
        Assert.Equal("more affected hand; stroke; also published: 6 (d's paper), 4.5 (c's paper)", Between(rows).Detectable!.Why);
    }

    private static string With(string population) => Base.Replace("\"population\": { \"condition\": \"stroke\", \"text\": \"stroke\" }", population);

    private static string Row(string id, string fields) =>
        $$"""{ "id": "{{id}}", "kind": "detectable", "method": "m", {{fields}}{{(fields.Contains("\"source\"") ? "" : $$""", "source": { "citation": "{{id}}'s paper", "mark": "published" }""")}} }""";

    private static MeasureChange Between(IEnumerable<string> rows, PersonContext? person = null)
    {
        var measure = MeasureCatalogue.Load([("Measures/x.json", $$"""
            { "id": "x", "order": 1, "title": "X", "recorded": "x", "unit": "s", "unitText": "s", "minimum": 0, "decimals": 0, "direction": "lower-is-better", "scale": "quantity",
              "laterality": "per-side", "statuses": ["completed"], "licence": "none", "variants": ["quick", "slow"], "source": { "citation": "c", "mark": "published" },
              "thresholds": [{{string.Join(", ", rows)}}] }
            """)]).All[0];
        return MeasureChange.Between(measure, new("x", First, MeasureStatus.Completed, 60, Side.Left, "first"), new("x", First.AddDays(10), MeasureStatus.Completed, 50, Side.Left, "last"),
            person ?? new(Side.Left, Side.Left, Day.AddDays(-10)));
    }
}
