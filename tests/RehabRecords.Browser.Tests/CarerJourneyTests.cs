using Microsoft.Playwright;

namespace RehabRecords.Browser.Tests;

/// <summary>A carer with a telephone, one hand free, and a connection that comes and goes.</summary>
[Collection(Clinic.Name)]
public class CarerJourneyTests(ServedClinic clinic)
{
    [Fact]
    public async Task A_report_without_a_connection_is_kept_through_a_reload_and_sent_once_when_there_is_one()
    {
        var wren = await Newcomer.ArriveAsync(clinic);
        var window = await OpenAsync(clinic.Url(await wren.LinkAsync()));
        await OfflineAsync(window, true);

        await MarkDoneAsync(window, pain: "6");
        var exercise = Exercise(window);
        await Assertions.Expect(exercise.Locator(".over-limit")).ToBeVisibleAsync();
        await Assertions.Expect(exercise.Locator(".over-limit")).ToContainTextAsync("above the limit of 5. Stop this exercise");
        await window.Locator(".warnings summary").ClickAsync();
        await window.GetByText("Sudden trouble with speech", new() { Exact = false }).First.ClickAsync();
        await Assertions.Expect(window.Locator("#call")).ToBeVisibleAsync();
        await Assertions.Expect(window.Locator("#call")).ToContainTextAsync("Do not go on with the exercises");
        await window.GetByLabel("Anything to tell?").FillAsync("His words came out wrong after the pegs.");
        await window.Locator("button.main").ClickAsync();

        await Assertions.Expect(window.Locator("#result")).ToContainTextAsync("Kept on this phone");
        await Assertions.Expect(window.Locator("#result")).ToContainTextAsync("Act now");
        await Assertions.Expect(window.Locator("#waiting")).ToContainTextAsync("1 report waits on this phone");
        Assert.Empty(await wren.SessionsAsync());

        // Closed and opened again, still without a connection: the page is there, and so is the report.
        await window.ReloadAsync();
        await Assertions.Expect(window.Locator("#waiting")).ToContainTextAsync("His words came out wrong after the pegs.");

        await OfflineAsync(window, false);
        await Assertions.Expect(window.Locator("#result")).ToContainTextAsync("It was sent");
        await Assertions.Expect(window.Locator("#waiting")).ToBeHiddenAsync();
        await window.ReloadAsync();
        await Assertions.Expect(window.Locator("#waiting")).ToBeHiddenAsync();
        var session = Assert.Single(await wren.SessionsAsync());
        Assert.Contains("6", (string)(await wren.ResultsAsync((string)session["id"]!)).Single()!["component"]!.AsArray().Single(c => (string?)c!["code"]!["coding"]![0]!["code"] == "pain-during")!["valueInteger"]!.ToJsonString());

        // The team sees it at once, with the carer's words.
        await window.SetViewportSizeAsync(1280, 900);
        await window.GotoAsync(clinic.Url($"/caseload?find={wren.Family}").AbsoluteUri);
        await Assertions.Expect(window.Locator("tbody tr")).ToContainTextAsync("Red flag not cleared");
        await window.GotoAsync(clinic.Url($"/people/{wren.Person}").AbsoluteUri);
        await Assertions.Expect(window.Locator(".urgent")).ToContainTextAsync("Sudden trouble with speech");
        await window.Context.CloseAsync();
    }

    [Fact]
    public async Task A_report_whose_answer_is_lost_on_the_way_is_kept_sent_again_and_stored_once()
    {
        var wren = await Newcomer.ArriveAsync(clinic);
        await using var line = new BadLine(clinic.App.Address);
        var window = await OpenAsync(new Uri(line.Address, await wren.LinkAsync()));
        line.CutsAnswers = true;
        await MarkDoneAsync(window, pain: "2");
        await window.Locator("button.main").ClickAsync();
        await Assertions.Expect(window.Locator("#result")).ToContainTextAsync("Kept on this phone");
        Assert.InRange(line.Cut, 1, 5);
        // It has arrived, and the telephone cannot know that.
        Assert.Single(await wren.SessionsAsync());
        await Assertions.Expect(window.Locator("#waiting")).ToBeVisibleAsync();

        line.CutsAnswers = false;
        await window.GetByRole(AriaRole.Button, new() { Name = "Try to send now" }).ClickAsync();
        await Assertions.Expect(window.Locator("#result")).ToContainTextAsync("It was sent");
        await Assertions.Expect(window.Locator("#waiting")).ToBeHiddenAsync();
        Assert.Single(await wren.SessionsAsync());
        await window.Context.CloseAsync();
    }

    [Fact]
    public async Task The_page_says_no_more_than_a_first_name_and_the_exercises_and_leads_nowhere_else()
    {
        var wren = await Newcomer.ArriveAsync(clinic);
        await wren.PractiseAsync();
        var window = await OpenAsync(clinic.Url(await wren.LinkAsync()));
        var page = await window.ContentAsync();
        Assert.Contains($"Practice of {Newcomer.Given}", page, StringComparison.Ordinal);
        Assert.DoesNotContain(wren.Family, page, StringComparison.Ordinal);
        // Nothing of the record: no birth date, no precaution, no remark of an earlier session, no carer.
        Assert.All(["1958", "sensation", "pinging", "Otto", wren.Person], secret => Assert.DoesNotContain(secret, page, StringComparison.Ordinal));
        Assert.Equal("Practice at home", await window.TitleAsync());
        Assert.All(await window.EvaluateAsync<string[]>("() => [...document.querySelectorAll('a[href]')].map(a => a.getAttribute('href'))"), href => Assert.StartsWith("tel:", href, StringComparison.Ordinal));
        await window.Context.CloseAsync();
    }

    [Fact]
    public async Task A_session_is_reported_without_scripts_too()
    {
        var wren = await Newcomer.ArriveAsync(clinic);
        var context = await clinic.Browser.NewContextAsync(new() { JavaScriptEnabled = false, ViewportSize = new() { Width = 360, Height = 740 } });
        var window = await context.NewPageAsync();
        await window.GotoAsync(clinic.Url(await wren.LinkAsync()).AbsoluteUri);
        await MarkDoneAsync(window, pain: "1");
        await window.Locator("button.main").ClickAsync();
        await Assertions.Expect(window.GetByRole(AriaRole.Heading, new() { Level = 1 })).ToContainTextAsync("sent");
        Assert.Single(await wren.SessionsAsync());
        await context.CloseAsync();
    }

    /// <summary>With the page kept on the telephone, which makes it open without a connection.</summary>
    private async Task<IPage> OpenAsync(Uri link)
    {
        var window = await clinic.OpenAsync(360, 740);
        await window.GotoAsync(link.AbsoluteUri);
        await window.Locator("html[data-kept=yes]").WaitForAsync(new() { State = WaitForSelectorState.Attached });
        return window;
    }

    private static async Task OfflineAsync(IPage window, bool offline)
    {
        await window.Context.SetOfflineAsync(offline);
        if (offline)
            await window.ReloadAsync();
    }

    private static ILocator Exercise(IPage window) => window.Locator("fieldset.exercise").First;

    private static async Task MarkDoneAsync(IPage window, string pain)
    {
        var exercise = Exercise(window);
        await exercise.GetByLabel("Done", new() { Exact = true }).CheckAsync(new() { Force = true });
        await exercise.Locator(".pain").GetByLabel(pain, new() { Exact = true }).CheckAsync(new() { Force = true });
    }
}
