using System.Net;
using RehabRecords.Tests.Discharges;
using RehabRecords.Tests.Documents;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.Pages;

/// <summary>Discharge and transfer letter by the pages alone, without scripts.</summary>
public class LeavingTests(TradeApp app) : IClassFixture<TradeApp>
{
    private static readonly (string, string)[] Stated =
    [
        ("dischargedOn", "2026-06-15"), ("reason", "The block is done."), ("destination", "Home."), ("distribution[0].name", "Dr Imagined"), ("distribution[0].role", "GP"),
        // A row left empty between two.
        ("actions[1].text", "Check the splint."), ("actions[1].owner", "Orthotics"), ("actions[1].due", "2026-06-30"), ("equipment", "soft putty\nbutton hook"),
    ];

    [Fact]
    public async Task A_discharge_goes_from_form_to_signature_to_completion()
    {
        var of = await app.CourseAsync();
        var rowan = await Browser.AsAsync(app);
        var at = $"/people/{of.Person}/discharge";
        Assert.Contains($"href=\"{at}\"", await rowan.PageAsync($"/people/{of.Person}"));
        var form = await rowan.OpenAsync(at);
        Assert.Equal("Rowan Invented", form.Field("author.name"));
        Assert.Contains($"href=\"/notes/{of.Note}\"", form.Html);

        // Told where it stands, and nothing typed is lost.
        var refused = await rowan.PostAsync(form, at, form.Changed([.. Stated, ("actions[1].owner", ""), ("reviewDate", "soon")]).Where(f => f.Name != "actions[1].owner"));
        Assert.Equal(HttpStatusCode.UnprocessableEntity, refused.Status);
        Assert.Contains("who does it", refused.Wrong("actions-0--owner"));
        Assert.Contains("give a day as year-month-day", refused.Wrong("reviewDate"));
        Assert.Equal(("Check the splint.", "soon", "soft putty\nbutton hook"), (refused.Field("actions[0].text"), refused.Field("reviewDate"), refused.Field("equipment").Trim()));
        var blocked = await rowan.PostAsync(form, at, form.Changed(Stated));
        Assert.Equal(HttpStatusCode.Conflict, blocked.Status);
        Assert.Contains("stands in the way of the discharge", blocked.Wrong($"override-Composition-{of.Note}"));
        Assert.DoesNotContain("(POST", blocked.Text);
        Assert.DoesNotContain("/api/", blocked.Text);

        var begun = await rowan.PostAsync(form, at, form.Changed([.. Stated, ($"override:Composition/{of.Note}", "Said again in the summary.")]));
        Assert.Equal(HttpStatusCode.SeeOther, begun.Status);
        var discharge = begun.Location!;
        var id = discharge.Split('/')[^1];
        Assert.StartsWith("/discharges/", discharge);
        var next = await rowan.OpenAsync(discharge);
        Assert.Contains("Next: the summary is read, corrected and signed.", next.Text);
        Assert.Contains($"href=\"/notes/{id}\"", next.Html);
        Assert.DoesNotContain("Complete the discharge", next.Text);
        var summary = await app.NoteAsync(id);
        Assert.Equal("Requested by Rowan Invented, physiotherapist, registration INV-1001: “Check the splint.” Owner: Orthotics. By 30 June 2026.", (string)summary.Statement("discharge-action")["text"]!);
        Assert.Contains("soft putty; button hook", (string)summary.Statement("discharge-equipment-supplied")["text"]!);

        // The form holds what was stated, and drafts it anew.
        var again = await rowan.OpenAsync(at);
        Assert.Equal(("The block is done.", "Said again in the summary."), (again.Field("reason"), again.Field($"override:Composition/{of.Note}").Trim()));
        Assert.Equal(discharge, (await rowan.PostAsync(again, at, again.Changed(("destination", "With her sister.")))).Location);
        Assert.Contains("With her sister.", (string)(await app.NoteAsync(id)).Statement("discharge-details")["text"]!);

        await app.SignedAsync(id);
        var signed = await rowan.OpenAsync(discharge);
        Assert.Equal("Rowan Invented", signed.Field("by.name"));
        var unnamed = await rowan.PostAsync(signed, $"{discharge}/completion", [("by.name", "Rowan Invented")]);
        Assert.Equal(HttpStatusCode.UnprocessableEntity, unnamed.Status);
        Assert.Contains("Professional role is missing", WebUtility.HtmlDecode(unnamed.Html));
        Assert.Equal(HttpStatusCode.SeeOther, (await rowan.PostAsync(signed, $"{discharge}/completion", signed.Fields)).Status);
        Assert.Contains("Completed.", (await rowan.OpenAsync(discharge)).Text);
        Assert.Equal("completed", (string?)(await app.GetAsync($"/fhir/CarePlan/{of.Programme}"))["status"]);
    }

    [Fact]
    public async Task A_red_flag_stands_in_the_way_and_offers_no_reason_to_leave_it_open()
    {
        var of = await app.ProgrammeAsync();
        var session = await app.PostAsync("/api/sessions", TradeApp.Session(of, ("redFlags", "[\"new-weakness\"]")));
        var flag = (string)session["flags"]![0]!["id"]!;
        var form = await (await Browser.AsAsync(app)).OpenAsync($"/people/{of.Person}/discharge");
        Assert.Contains($"href=\"/flags/{flag}\"", form.Html);
        Assert.Contains("it cannot be left open", form.Text);
        Assert.DoesNotContain($"name=\"override:Flag/{flag}\"", form.Html);
    }

    [Fact]
    public async Task A_letter_is_drafted_once_however_often_its_form_is_sent_and_what_lacks_is_told()
    {
        var of = await app.CourseAsync();
        var rowan = await Browser.AsAsync(app);
        var at = $"/people/{of.Person}/letters/new";
        var form = await rowan.OpenAsync(at);
        var refused = await rowan.PostAsync(form, at, form.Changed(("reason", "She moves.")));
        Assert.Equal(HttpStatusCode.UnprocessableEntity, refused.Status);
        Assert.Contains("who the letter is to", refused.Wrong("to-name"));
        Assert.Contains("what they are asked to do", refused.Wrong("request"));
        Assert.Equal("She moves.", refused.Field("reason"));
        (string, string)[] whole = [("to.name", "Merle Inventsen"), ("to.role", "community physiotherapist"), ("reason", "She moves."), ("request", "See her at home.")];
        var made = await rowan.PostAsync(form, at, form.Changed(whole));
        Assert.Equal(made.Location, (await rowan.PostAsync(form, at, form.Changed(whole))).Location);
        var note = await rowan.OpenAsync(made.Location!);
        Assert.Contains("To Merle Inventsen, community physiotherapist.", note.Text);
        Assert.Contains("Sign as Rowan Invented", note.Text);
        Assert.Contains("the day of the letter", note.Text);
        // A field that no form has shown is not a way in.
        Assert.Equal(HttpStatusCode.BadRequest, (await new Browser(app).PostAsync(at, [KeyValuePair.Create("reason", "Forged.")])).Status);
    }
}
