using Microsoft.Playwright;

namespace RehabRecords.Browser.Tests;

/// <summary>Somebody leaves: a letter to the next team, then the discharge, by the pages alone.</summary>
[Collection(Clinic.Name)]
public class LeavingJourneyTests(ServedClinic clinic)
{
    [Fact]
    public async Task A_therapist_writes_to_the_next_team_and_discharges()
    {
        var wren = await Newcomer.ArriveAsync(clinic);
        await wren.PractiseAsync();
        var window = await clinic.OpenAsync();
        await clinic.WorkAsync(window);
        var person = clinic.Url($"/people/{wren.Person}").AbsoluteUri;

        await window.GotoAsync(person);
        await window.GetByRole(AriaRole.Link, new() { Name = "Write to the next team" }).ClickAsync();
        await window.Locator("#to-name").FillAsync("Merle Inventsen");
        await window.Locator("#to-role").FillAsync("community physiotherapist");
        await window.GetByLabel("Why the care goes over to them").FillAsync("She moves to the vale.");
        await window.GetByRole(AriaRole.Button, new() { Name = "Draft the letter" }).ClickAsync();
        // What lacks is told at its field and at the top, from where a press leads to it; what was typed is there.
        await Assertions.Expect(window.GetByRole(AriaRole.Alert)).ToContainTextAsync("what they are asked to do");
        await window.GetByRole(AriaRole.Alert).GetByRole(AriaRole.Link).First.ClickAsync();
        await Assertions.Expect(window.Locator("#request")).ToBeInViewportAsync();
        await Assertions.Expect(window.Locator("#reason")).ToHaveValueAsync("She moves to the vale.");
        await window.Locator("#request").FillAsync("See her at home within two weeks.");
        await window.GetByRole(AriaRole.Button, new() { Name = "Draft the letter" }).ClickAsync();
        await Assertions.Expect(window.Locator(".mark")).ToContainTextAsync("DRAFT");
        await SignAsync(window, "transfer letter");
        var letter = new Uri(window.Url).AbsolutePath;
        using (var pdf = await Pdf.GetAsync(clinic.App.Http, letter + "/document.pdf"))
        {
            pdf.IsSound();
            Assert.Empty(pdf.PagesWith("DRAFT"));
            Assert.Equal(pdf.Pages.Count, pdf.PagesWith($"{wren.Name} · born").Count);
            Assert.Equal(1, pdf.PagesWith("See her at home within two weeks.")[0]);
        }

        await window.GotoAsync(person);
        await window.GetByRole(AriaRole.Link, new() { Name = "Discharge", Exact = true }).ClickAsync();
        await window.GetByLabel("Why it may stay open").First.FillAsync("Said again in the summary.");
        await window.Locator("#reason").FillAsync("She moves away.");
        await window.Locator("#destination").FillAsync("The vale team.");
        await window.Locator("#distribution-0--name").FillAsync("Dr Imagined");
        await window.Locator("#distribution-0--role").FillAsync("GP");
        await window.Locator("#actions-0--text").FillAsync("First visit.");
        await window.Locator("#actions-0--owner").FillAsync("Vale Community Team");
        await window.GetByRole(AriaRole.Button, new() { Name = "Draft the summary" }).ClickAsync();
        await Assertions.Expect(window.Locator("main")).ToContainTextAsync("Next: the summary is read, corrected and signed.");
        var discharge = window.Url;
        await window.GetByRole(AriaRole.Link, new() { Name = "Read and sign it" }).ClickAsync();
        await SignAsync(window, "discharge summary");
        await window.GotoAsync(discharge);
        await window.GetByRole(AriaRole.Button, new() { Name = "Complete the discharge" }).ClickAsync();
        await Assertions.Expect(window.Locator(".mark")).ToContainTextAsync("Completed.");
        await window.GotoAsync(person);
        await Assertions.Expect(window.Locator("main")).ToContainTextAsync("completed");
        Assert.Equal("completed", (string?)(await clinic.App.GetAsync($"/fhir/CarePlan/{wren.Programme}"))["status"]);
        await window.Context.CloseAsync();
    }

    private static async Task SignAsync(IPage window, string kind)
    {
        await window.GetByLabel($"I have read this {kind}").CheckAsync();
        await window.GetByRole(AriaRole.Button, new() { Name = "Sign as Rowan Pretendley" }).ClickAsync();
        await Assertions.Expect(window.GetByRole(AriaRole.Status)).ToContainTextAsync("What was signed is frozen");
    }
}
