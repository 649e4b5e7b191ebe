using System.Text.Json.Nodes;
using Microsoft.Playwright;

namespace RehabRecords.Browser.Tests;

/// <summary>From a result that a notes system posts, by way of a signature, to another team with a record of its own.</summary>
[Collection(Clinic.Name)]
public class TeamJourneyTests(ServedClinic clinic)
{
    private const string Team = "vale-community-team";

    [Fact]
    public async Task A_community_team_takes_in_a_programme_and_reads_what_it_needs_to_carry_on()
    {
        var wren = await Newcomer.ArriveAsync(clinic);
        var note = (string)(await wren.PractiseAsync())["note"]!["address"]!;
        var window = await clinic.OpenAsync();
        await SignAsync(window, note.Replace("/api/notes/", "/notes/", StringComparison.Ordinal));

        // Nothing goes against the person's will.
        await ConsentAsync(wren, "deny");
        using var refused = await clinic.App.Http.GetAsync(Exchange(wren));
        Assert.Equal(System.Net.HttpStatusCode.Forbidden, refused.StatusCode);
        await ConsentAsync(wren, "permit");
        var document = await clinic.App.GetAsync(Exchange(wren));

        await using var theirs = new RunningService(new() { ["RehabRecords:PublicUrl"] = "http://community.test", ["urls"] = "http://127.0.0.1:0" });
        using var arrival = await theirs.Http.PostAsync("/api/exchange", RunningService.Json(document, "application/fhir+json"));
        Assert.True(arrival.IsSuccessStatusCode, await arrival.Content.ReadAsStringAsync());

        // Found on their caseload by name, and read with the keyboard alone.
        await window.GotoAsync(new Uri(theirs.Address, "/").AbsoluteUri);
        await window.GetByLabel("Name or identifier").FocusAsync();
        await window.Keyboard.TypeAsync(wren.Family);
        await window.Keyboard.PressAsync("Enter");
        await window.Locator("tbody").GetByRole(AriaRole.Link, new() { Name = wren.Name }).PressAsync("Enter");
        var main = window.Locator("main");
        await Assertions.Expect(window.GetByRole(AriaRole.Heading, new() { Level = 1 })).ToContainTextAsync(wren.Name);
        await Assertions.Expect(main).ToContainTextAsync("Light touch reduced over the fingertips of the right hand");
        await Assertions.Expect(main).ToContainTextAsync("Hang out a small wash with the right hand doing the pegging");
        await Assertions.Expect(main.Locator("#timeline ~ ol")).ToContainTextAsync("4 exercises practised");

        // What came in, in the sender's own words, in a frame that can do nothing.
        await main.GetByRole(AriaRole.Link, new() { Name = "Taken in from" }).PressAsync("Enter");
        var frame = window.Locator("iframe");
        await Assertions.Expect(frame).ToHaveAttributeAsync("sandbox", "");
        await Assertions.Expect(frame.ContentFrame.Locator("body")).ToContainTextAsync("Clothes pegs");
        await window.GoBackAsync();

        // What is prescribed, down to the amounts, and what the person has at home.
        await main.GetByRole(AriaRole.Link, new() { Name = "on the desk" }).PressAsync("Enter");
        await Assertions.Expect(main).ToContainTextAsync("In force");
        await Assertions.Expect(main).ToContainTextAsync("Look at the fingertips after each set.");
        var programme = new Uri(window.Url).Segments[2].TrimEnd('/');
        await window.GotoAsync(new Uri(theirs.Address, $"/programmes/{programme}/home-sheet").AbsoluteUri);
        await Assertions.Expect(window.Locator("section.exercise")).ToHaveCountAsync(4);
        await Assertions.Expect(window.Locator("body")).ToContainTextAsync($"Practice at home for {Newcomer.Given}");

        // What was signed is checked by them against the very bytes, where they were signed.
        var signature = await clinic.App.GetAsync($"{note}/signature");
        using var copy = new ByteArrayContent(await clinic.App.Http.GetByteArrayAsync($"/fhir/{signature["document"]}"));
        copy.Headers.ContentType = new("application/fhir+json");
        using var check = await clinic.App.Http.PostAsync($"{note}/signature/verification", copy);
        Assert.Equal("true", JsonNode.Parse(await check.Content.ReadAsStringAsync())!["verdict"]!["genuine"]!.ToJsonString());
        await window.Context.CloseAsync();
    }

    private static string Exchange(Newcomer wren) => $"/api/programmes/{wren.Programme}/exchange?recipient=https://directory.example/id/organisation|{Team}";

    private Task<JsonNode> ConsentAsync(Newcomer wren, string decision) => clinic.App.PostAsync($"/api/people/{wren.Person}/consents", JsonNode.Parse($$"""
        {
          "decision": "{{decision}}", "recipient": { "name": "Vale Community Team", "identifier": { "system": "https://directory.example/id/organisation", "value": "{{Team}}" } },
          "recordedBy": { "name": "Rowan Pretendley", "role": "physiotherapist" }
        }
        """)!);

    private async Task SignAsync(IPage window, string page)
    {
        await clinic.WorkAsync(window);
        await window.GotoAsync(clinic.Url(page).AbsoluteUri);
        await window.GetByLabel("I have read this progress note").CheckAsync();
        await window.GetByRole(AriaRole.Button, new() { Name = "Sign as Rowan Pretendley" }).ClickAsync();
        await Assertions.Expect(window.GetByRole(AriaRole.Status)).ToContainTextAsync("What was signed is frozen");
    }
}
