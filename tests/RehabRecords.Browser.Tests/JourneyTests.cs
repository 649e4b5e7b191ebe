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
    private async Task<string> IntegratorPostsAsync()
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
        await clinic.App.PostAsync("/api/sessions", session);
        return name;
    }

    [Fact]
    public async Task A_session_that_a_notes_system_posts_is_found_checked_corrected_and_signed_by_the_therapist()
    {
        var name = await IntegratorPostsAsync();
        var window = await clinic.OpenAsync();
        await clinic.WorkAsync(window);

        // Found on the caseload, without a mouse.
        await window.GotoAsync(clinic.Url("/").AbsoluteUri);
        await window.GetByLabel("Name or identifier").FocusAsync();
        await window.Keyboard.TypeAsync(name);
        await window.Keyboard.PressAsync("Enter");
        var line = window.Locator("tbody tr");
        await Assertions.Expect(line).ToHaveCountAsync(1);
        await Assertions.Expect(line).ToContainTextAsync("Draft waiting for review");
        await line.GetByRole(AriaRole.Link, new() { Name = $"Wren {name}" }).PressAsync("Enter");
        await Assertions.Expect(window.GetByRole(AriaRole.Heading, new() { Level = 1 })).ToContainTextAsync($"Wren {name}");
        await window.GetByRole(AriaRole.Link, new() { Name = "Progress note (draft)" }).First.PressAsync("Enter");

        // Each sentence is one step from what it rests on.
        await Assertions.Expect(window.Locator(".mark")).ToContainTextAsync("DRAFT");
        var statement = window.Locator("main li[id]", new() { Has = window.Locator("p.words", new() { HasText = "Pegs kept pinging off" }) });
        await Assertions.Expect(statement).ToHaveCountAsync(1);
        await statement.Locator("summary").First.PressAsync("Enter");
        var source = statement.GetByRole(AriaRole.Link).First;
        await Assertions.Expect(source).ToBeVisibleAsync();
        using var behind = await clinic.App.Http.GetAsync(await source.GetAttributeAsync("href"));
        Assert.Contains("Pegs kept pinging off", await behind.Content.ReadAsStringAsync(), StringComparison.Ordinal);

        // Corrected, and that stays visible; then signed.
        await statement.GetByText("Edit or remove").ClickAsync();
        await statement.GetByLabel("As it is to read").FillAsync("Pegs slipped at first; softer ones were found.");
        await statement.GetByRole(AriaRole.Button, new() { Name = "Store these words as mine" }).ClickAsync();
        var edited = window.Locator("main li[id]", new() { Has = window.Locator("p.words", new() { HasText = "Pegs slipped at first" }) });
        await Assertions.Expect(edited).ToContainTextAsync("Edited by Rowan Pretendley");
        await Assertions.Expect(edited).ToContainTextAsync("Pegs kept pinging off");
        await window.GetByLabel("I have read this progress note").CheckAsync();
        await window.GetByRole(AriaRole.Button, new() { Name = "Sign as Rowan Pretendley" }).ClickAsync();
        await Assertions.Expect(window.GetByRole(AriaRole.Status)).ToContainTextAsync("What was signed is frozen");

        // What is handed on.
        using var pdf = await Pdf.GetAsync(clinic.App.Http, new Uri(window.Url).AbsolutePath + "/document.pdf");
        pdf.IsSound();
        Assert.Empty(pdf.PagesWith("DRAFT"));
        Assert.NotEmpty(pdf.PagesWith("Pegs slipped at first"));
        await window.GotoAsync(clinic.Url($"/caseload?find={name}").AbsoluteUri);
        await Assertions.Expect(window.Locator("tbody tr")).Not.ToContainTextAsync("Draft waiting for review");
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
