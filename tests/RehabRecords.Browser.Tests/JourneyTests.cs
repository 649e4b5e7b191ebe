using Microsoft.Playwright;

namespace RehabRecords.Browser.Tests;

/// <summary>What people come to do, from one end to the other, by the pages alone.</summary>
[Collection(Clinic.Name)]
public class JourneyTests(ServedClinic clinic)
{
    [Fact]
    public async Task A_session_that_a_notes_system_posts_is_found_checked_corrected_signed_and_amended_by_the_therapist()
    {
        var wren = await Newcomer.ArriveAsync(clinic);
        await wren.PractiseAsync();
        var name = wren.Family;
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
        var signed = new Uri(window.Url).GetLeftPart(UriPartial.Path);
        using var pdf = await Pdf.GetAsync(clinic.App.Http, new Uri(window.Url).AbsolutePath + "/document.pdf");
        pdf.IsSound();
        Assert.Empty(pdf.PagesWith("DRAFT"));
        Assert.NotEmpty(pdf.PagesWith("Pegs slipped at first"));
        await window.GotoAsync(clinic.Url($"/caseload?find={name}").AbsoluteUri);
        await Assertions.Expect(window.Locator("tbody tr")).Not.ToContainTextAsync("Draft waiting for review");

        // A word was wrong after all: amended, not written over; both versions stay.
        await window.GotoAsync(signed);
        await window.GetByLabel("Why it is amended").FillAsync("The pegs were wooden ones, as her husband says.");
        await window.GetByRole(AriaRole.Button, new() { Name = "Begin an amendment" }).ClickAsync();
        await Assertions.Expect(window.Locator(".mark")).ToContainTextAsync("DRAFT");
        var again = window.Locator("main li[id]", new() { Has = window.Locator("p.words", new() { HasText = "Pegs slipped at first" }) });
        await again.GetByText("Edit or remove").ClickAsync();
        await again.GetByLabel("As it is to read").FillAsync("Wooden pegs slipped at first; softer ones were found.");
        await again.GetByRole(AriaRole.Button, new() { Name = "Store these words as mine" }).ClickAsync();
        await window.GetByLabel("I have read this progress note").CheckAsync();
        await window.GetByRole(AriaRole.Button, new() { Name = "Sign as Rowan Pretendley" }).ClickAsync();
        await Assertions.Expect(window.GetByRole(AriaRole.Status)).ToContainTextAsync("What was signed is frozen");
        await Assertions.Expect(window.Locator("main")).ToContainTextAsync("The pegs were wooden ones");
        await window.GetByRole(AriaRole.Link, new() { Name = "All versions" }).ClickAsync();
        await Assertions.Expect(window.Locator("main ins").First).ToContainTextAsync("Wooden");
        await window.GotoAsync(signed);
        await Assertions.Expect(window.GetByRole(AriaRole.Link, new() { Name = "there is an amendment of this note" })).ToBeVisibleAsync();
        await Assertions.Expect(window.Locator("main")).ToContainTextAsync("Pegs slipped at first; softer ones were found.");
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

    [Fact]
    public async Task Of_two_therapists_at_one_note_the_second_is_told_and_keeps_what_was_typed()
    {
        var wren = await Newcomer.ArriveAsync(clinic);
        var page = ((string)(await wren.PractiseAsync())["note"]!["address"]!).Replace("/api/notes/", "/notes/", StringComparison.Ordinal);
        var (first, second) = (await clinic.OpenAsync(), await clinic.OpenAsync());
        foreach (var window in (IPage[])[first, second])
        {
            await clinic.WorkAsync(window);
            await window.GotoAsync(clinic.Url(page).AbsoluteUri);
        }

        await EditAsync(first, "Pegs slipped; softer ones were found.");
        await EditAsync(second, "Pegs slipped on the first day only.");
        await Assertions.Expect(second.GetByRole(AriaRole.Alert)).ToContainTextAsync("What you sent was not stored");
        await Assertions.Expect(second.GetByLabel("Your words, not stored")).ToHaveValueAsync("Pegs slipped on the first day only.");
        await Assertions.Expect(second.Locator("main")).ToContainTextAsync("softer ones were found");
        await second.GetByRole(AriaRole.Button, new() { Name = "Store these words over the present ones" }).ClickAsync();
        await Assertions.Expect(second.Locator("main")).ToContainTextAsync("Pegs slipped on the first day only.");
        await first.Context.CloseAsync();
        await second.Context.CloseAsync();

        static async Task EditAsync(IPage window, string words)
        {
            var statement = window.Locator("main li[id]", new() { Has = window.Locator("p.words", new() { HasText = "Pegs kept pinging off" }) });
            await statement.GetByText("Edit or remove").ClickAsync();
            await statement.GetByLabel("As it is to read").FillAsync(words);
            await statement.GetByRole(AriaRole.Button, new() { Name = "Store these words as mine" }).ClickAsync();
        }
    }

    [Fact]
    public async Task A_person_reads_on_the_sheet_what_to_look_out_for_then_one_exercise_after_the_other()
    {
        var wren = await Newcomer.ArriveAsync(clinic);
        var window = await clinic.OpenAsync(360, 740);
        await window.GotoAsync(clinic.Url($"/programmes/{wren.Programme}/home-sheet?size=large").AbsoluteUri);
        var headings = await window.EvaluateAsync<string[]>("() => [...document.querySelectorAll('h2, h3')].map(h => h.innerText)");
        Assert.StartsWith("Read this first", headings[0]);
        Assert.StartsWith("Call the emergency number", headings[1]);
        Assert.True(Array.FindIndex(headings, h => h.StartsWith("1.", StringComparison.Ordinal)) > Array.FindIndex(headings, h => h.StartsWith("Who to call", StringComparison.Ordinal)));
        var exercises = window.Locator("section.exercise");
        await Assertions.Expect(exercises).ToHaveCountAsync(4);
        foreach (var exercise in await exercises.AllAsync())
        {
            var asked = await exercise.Locator("dt").AllInnerTextsAsync();
            Assert.All(["You need", "Which hand", "What to do", "How many", "Easier"], line => Assert.Contains(line, asked));
            await Assertions.Expect(exercise.GetByRole(AriaRole.Heading, new() { Name = "Stop if" })).ToBeVisibleAsync();
        }

        // At least 18 CSS pixels in large print, which the paper shows as 13.5 pt or more.
        Assert.InRange(await window.EvaluateAsync<double>("() => parseFloat(getComputedStyle(document.querySelector('section.exercise dd')).fontSize)"), 18, 40);
        await window.Context.CloseAsync();
    }
}
