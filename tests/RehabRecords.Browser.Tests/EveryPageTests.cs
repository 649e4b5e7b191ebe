namespace RehabRecords.Browser.Tests;

/// <summary>What holds of every page, looked at in the browser.</summary>
[Collection(Clinic.Name)]
public class EveryPageTests(ServedClinic clinic)
{
    /// <summary>A page must open on a telephone line in the hills.</summary>
    private const int MostBytes = 150_000;

    private const int MostRequests = 10;

    public static TheoryData<string> Pages => ClinicPages.Names;

    private Task<Visit> VisitAsync(string page) => clinic.VisitAsync(ClinicPages.Get(page));

    [Theory]
    [MemberData(nameof(Pages))]
    public async Task It_loads_without_an_error_and_from_nowhere_else(string page)
    {
        var visit = await VisitAsync(page);
        Assert.Equal(ClinicPages.Get(page).Status, visit.Status);
        Assert.Empty(visit.Errors);
        Assert.Empty(visit.PolicyViolations);
        Assert.All(visit.Loads, l => Assert.StartsWith(clinic.App.Address.AbsoluteUri, l.Url, StringComparison.Ordinal));
    }

    [Theory]
    [MemberData(nameof(Pages))]
    public async Task It_is_small(string page)
    {
        var visit = await VisitAsync(page);
        Assert.InRange(visit.Loads.Count, 1, MostRequests - 1);
        Assert.InRange(visit.Loads.Sum(l => l.Bytes), 1, MostBytes - 1);
    }

    [Theory]
    [MemberData(nameof(Pages))]
    public async Task The_accessibility_engine_finds_nothing_serious(string page)
    {
        var visit = await VisitAsync(page);
        Assert.True(visit.RulesPassed > 5, "hardly any rule of the engine found something to look at");
        Assert.Empty(visit.Access.Concat(visit.AccessNarrow).Where(a => a.Impact is "serious" or "critical").Select(a => $"{a.Rule} ({a.Impact}): {a.Help}\n  {string.Join("\n  ", a.Places)}"));
    }

    [Theory]
    [MemberData(nameof(Pages))]
    public async Task It_does_not_scroll_sideways_when_narrow_or_enlarged(string page)
    {
        var visit = await VisitAsync(page);
        Assert.All(visit.TooWide, width => Assert.True(width.Value.Count == 0, $"at {width.Key}: {string.Join("; ", width.Value)}"));
    }

    [Theory]
    [MemberData(nameof(Pages))]
    public async Task Everything_is_reached_by_keyboard_in_order_and_shows_it(string page)
    {
        var keys = (await VisitAsync(page)).Keys;
        Assert.Empty(keys.NotReached);
        Assert.Empty(keys.NotShown);
        Assert.Empty(keys.Backwards);
        if (keys.SkipsTo is not null)
        {
            Assert.Contains("Skip to the content", keys.First, StringComparison.Ordinal);
            Assert.Equal("content", keys.SkipsTo);
        }
    }
}
