using System.Text.Json.Nodes;
using Microsoft.Playwright;
using RehabRecords.Tests;

namespace RehabRecords.Browser.Tests;

/// <summary>What people come to do, from one end to the other, by the pages alone.</summary>
[Collection(Clinic.Name)]
public class JourneyTests(ServedClinic clinic)
{
    private static async Task<JsonObject> DemoAsync(string file) =>
        JsonNode.Parse(await File.ReadAllTextAsync(Path.Combine(Repository.Root, "examples/demo", file + ".json")))!.AsObject();

    /// <summary>A new person with the programme and the first session of one of the demo's, as a notes system posts them.</summary>
    private async Task<(string Name, JsonNode Answer)> IntegratorPostsAsync()
    {
        var name = $"Newcome{Guid.NewGuid():N}"[..14];
        var person = await DemoAsync("1-people/ada-sampleton");
        (person["familyName"], person["givenNames"], person["identifier"]!["value"]) = (name, new JsonArray("Wren"), name);
        var id = (string)(await clinic.App.PostAsync("/api/people", person))["id"]!;
        var programme = await DemoAsync("4-programmes/ada-sampleton");
        programme["person"] = id;
        var plan = (string)(await clinic.App.PostAsync("/api/programmes", programme))["id"]!;
        var session = await DemoAsync("6-sessions/ada-sampleton-01");
        (session["person"], session["programme"], session["identifier"]!["value"]) = (id, plan, name);
        return (name, await clinic.App.PostAsync("/api/sessions", session));
    }

    [Fact]
    public async Task A_session_that_a_notes_system_posts_is_found_read_and_checked_by_the_therapist_without_a_mouse()
    {
        var (name, answer) = await IntegratorPostsAsync();
        var window = await clinic.OpenAsync();
        await window.GotoAsync(clinic.Url("/").AbsoluteUri);
        await window.GetByLabel("Name or identifier").FocusAsync();
        await window.Keyboard.TypeAsync(name);
        await window.Keyboard.PressAsync("Enter");
        var line = window.Locator("tbody tr");
        await Assertions.Expect(line).ToHaveCountAsync(1);
        await Assertions.Expect(line).ToContainTextAsync("Draft waiting for review");
        await line.GetByRole(AriaRole.Link, new() { Name = $"Wren {name}" }).PressAsync("Enter");

        await Assertions.Expect(window.GetByRole(AriaRole.Heading, new() { Level = 1 })).ToContainTextAsync($"Wren {name}");
        await Assertions.Expect(window.Locator("main")).ToContainTextAsync("31 August 2026");
        await window.GotoAsync(clinic.Url((string)answer["note"]!["address"]!).AbsoluteUri);

        // The note: marked, in the reporter's own words, and each sentence one step from what it rests on.
        await Assertions.Expect(window.Locator(".mark")).ToContainTextAsync("DRAFT");
        var statement = window.Locator("li", new() { HasText = "Pegs kept pinging off" });
        await Assertions.Expect(statement).ToHaveCountAsync(1);
        await statement.Locator("summary").PressAsync("Enter");
        var source = statement.GetByRole(AriaRole.Link).First;
        await Assertions.Expect(source).ToBeVisibleAsync();
        using var behind = await clinic.App.Http.GetAsync(await source.GetAttributeAsync("href"));
        Assert.Contains("Pegs kept pinging off", await behind.Content.ReadAsStringAsync(), StringComparison.Ordinal);
        await window.Context.CloseAsync();
    }

    [Fact]
    public async Task A_therapist_narrows_the_caseload_and_comes_back_to_everybody()
    {
        var window = await clinic.OpenAsync();
        await window.GotoAsync(clinic.Url("/caseload").AbsoluteUri);
        var everybody = await window.Locator("tbody tr").CountAsync();
        await window.GetByLabel("Show", new() { Exact = true }).SelectOptionAsync("red-flag");
        await window.GetByRole(AriaRole.Button, new() { Name = "Show" }).ClickAsync();
        await Assertions.Expect(window.Locator("tbody tr").First).ToContainTextAsync("Red flag not cleared");
        Assert.InRange(await window.Locator("tbody tr").CountAsync(), 1, everybody - 1);
        await window.GetByRole(AriaRole.Navigation, new() { Name = "Main" }).GetByRole(AriaRole.Link, new() { Name = "Caseload" }).ClickAsync();
        await Assertions.Expect(window.Locator("tbody tr")).ToHaveCountAsync(everybody);
        await window.Context.CloseAsync();
    }
}
