using Microsoft.Playwright;

namespace RehabRecords.Browser.Tests;

/// <summary>A programme was changed here and by another team: found, read side by side and decided with the keyboard alone.</summary>
[Collection(Clinic.Name)]
public class ConflictJourneyTests(ServedClinic clinic)
{
    [Fact]
    public async Task A_therapist_reads_both_sides_of_a_conflict_and_chooses_with_a_reason()
    {
        var wren = await Newcomer.ArriveAsync(clinic);
        await using var vale = new OtherTeam(clinic);
        await vale.ChangesAsWellAsync(wren);
        var window = await clinic.OpenAsync();
        await clinic.WorkAsync(window);

        // From the caseload to the person to the choice.
        await window.GotoAsync(clinic.Url($"/caseload?find={wren.Family}").AbsoluteUri);
        var line = window.Locator("tbody tr");
        await Assertions.Expect(line).ToContainTextAsync("Changed here and by another team");
        await line.GetByRole(AriaRole.Link, new() { Name = wren.Name }).PressAsync("Enter");
        await window.GetByRole(AriaRole.Link, new() { Name = "see both sides and decide" }).PressAsync("Enter");
        await Assertions.Expect(window.GetByRole(AriaRole.Heading, new() { Level = 1 })).ToContainTextAsync("Changed here and by another team");
        var cards = window.GetByRole(AriaRole.Table, new() { Name = "Turning playing cards, right side", Exact = true }).Locator("tr", new() { HasText = "Amount" }).Locator("td");
        await Assertions.Expect(cards.Nth(0)).ToContainTextAsync("3 sets");
        await Assertions.Expect(cards.Nth(1)).ToContainTextAsync("4 sets");
        await Assertions.Expect(cards.Nth(2)).Not.ToContainTextAsync("4 sets");
        await Assertions.Expect(window.Locator("main")).ToContainTextAsync("Sam Inventsen");

        // Somebody revises it while this is read: what was typed stays, what is new is shown, and the choice is made anew.
        await window.Locator("#theirs").PressAsync("Space");
        await window.Locator("#reason").FillAsync("Agreed with the vale team on the telephone.");
        await OtherTeam.ReviseAsync(clinic.App, wren, "Rowan Pretendley", ("bean-pouring", 5));
        await window.GetByRole(AriaRole.Button, new() { Name = "Decide as Rowan Pretendley" }).PressAsync("Enter");
        await Assertions.Expect(window.GetByRole(AriaRole.Alert)).ToContainTextAsync("changed here after you had opened this page");
        await Assertions.Expect(window.Locator("#reason")).ToHaveValueAsync("Agreed with the vale team on the telephone.");
        await Assertions.Expect(window.Locator("#theirs")).ToBeCheckedAsync();
        await Assertions.Expect(window.Locator("main")).ToContainTextAsync("5 sets");
        await window.GetByRole(AriaRole.Button, new() { Name = "Decide as Rowan Pretendley" }).PressAsync("Enter");
        await Assertions.Expect(window.GetByRole(AriaRole.Status)).ToContainTextAsync("theirs, because: Agreed with the vale team on the telephone.");

        // It holds, and nobody is asked again.
        var programme = await clinic.App.GetAsync($"/api/programmes/{wren.Programme}");
        int SetsOf(string exercise) => (int)programme["exercises"]!.AsArray().Single(e => ((string)e!["exercise"]!).StartsWith(exercise, StringComparison.Ordinal))!["dosage"]!["sets"]!;
        Assert.Equal((3, 4), (SetsOf("clothes-pegs"), SetsOf("card-turning")));
        await window.GetByRole(AriaRole.Link, new() { Name = wren.Name }).PressAsync("Enter");
        await Assertions.Expect(window.GetByRole(AriaRole.Heading, new() { Level = 1 })).ToContainTextAsync(wren.Name);
        await Assertions.Expect(window.GetByText("see both sides and decide")).ToHaveCountAsync(0);
        await window.Context.CloseAsync();
    }
}
