using System.Net;
using System.Text.Json.Nodes;
using System.Text.RegularExpressions;
using RehabRecords.Tests.Pages;

namespace RehabRecords.Tests.Access;

/// <summary>Pages where people sign in: who does a thing is who signed in, and a link for reporting from home works without signing in.</summary>
public sealed partial class SignedInPagesTests(SignInApp app) : IClassFixture<SignInApp>
{
    private static readonly (string, string)[] Forged =
        [("by.name", "Merle Fictive"), ("by.role", "consultant"), ("by.registration", "INV-6666"), ("author.name", "Merle Fictive"), ("author.role", "consultant"), ("author.registration", "INV-6666")];

    [Fact]
    public async Task What_is_decided_on_the_desk_carries_the_name_of_who_signed_in_whatever_the_form_says()
    {
        using var system = await app.AsAsync(app.Hill);
        var (person, programme) = await app.ProgrammeAsync(system);
        var rowan = await app.SignedInAsync("Rowan Invented", "therapist", "hill", registration: "INV-1001");
        var desk = await rowan.OpenAsync($"/programmes/{programme}/desk");
        // Shown, and nothing to type it into.
        Assert.Contains("Who decides Rowan Invented, physiotherapist, registration INV-1001 as signed in", desk.Text, StringComparison.Ordinal);
        Assert.DoesNotContain("name=\"by.name\"", desk.Html, StringComparison.Ordinal);

        await SentAsync(rowan, desk, $"/programmes/{programme}/desk/decision", [("exercise", "key-turning"), ("decision", "hold"), ("reason", "Pain in the evening."), .. Forged]);
        await SentAsync(rowan, desk, $"/programmes/{programme}/desk/revision", [("what", "change"), ("exercise", "coin-stacking"), ("dosage.sets", "4"), ("reason", "Goes well."), .. Forged]);
        await SentAsync(rowan, desk, $"/programmes/{programme}/desk/pause", [("from", $"{app.Now.AddDays(10):yyyy-MM-dd}"), ("to", $"{app.Now.AddDays(12):yyyy-MM-dd}"), ("reason", "Visitors."), .. Forged]);
        await SentAsync(rowan, desk, $"/programmes/{programme}/desk/briefing", [("points", "Stop when it hurts."), .. Forged]);

        var begin = await rowan.OpenAsync($"/people/{person}/programmes/new");
        Assert.Contains("Who prescribes Rowan Invented, physiotherapist, registration INV-1001 as signed in", begin.Text, StringComparison.Ordinal);
        Assert.DoesNotContain("name=\"author.name\"", begin.Html, StringComparison.Ordinal);

        var letter = await rowan.OpenAsync($"/people/{person}/letters/new");
        Assert.Contains("Who writes Rowan Invented", letter.Text, StringComparison.Ordinal);
        await SentAsync(rowan, letter, $"/people/{person}/letters/new", [("once", letter.Field("once")), ("to.name", "Sam Elsewhere"), ("to.role", "physiotherapist"), ("reason", "A move."), ("request", "Carry on."), .. Forged]);

        var discharge = await rowan.OpenAsync($"/people/{person}/discharge");
        Assert.Contains("Who discharges Rowan Invented", discharge.Text, StringComparison.Ordinal);

        var all = await system.ExpectAsync(HttpStatusCode.OK, "GET", $"/fhir/Patient/{person}/$everything?_count=500");
        var kept = all.ToJsonString();
        Assert.DoesNotContain("Fictive", kept, StringComparison.Ordinal);
        Assert.DoesNotContain("INV-6666", kept, StringComparison.Ordinal);
        Assert.True(Of(all, "Task").Count(t => ((string?)t["requester"]?["display"])?.StartsWith("Rowan Invented", StringComparison.Ordinal) == true) >= 2, kept);
        Assert.Contains(Of(all, "Communication"), c => ((string?)c["sender"]?["display"])?.StartsWith("Rowan Invented", StringComparison.Ordinal) == true);
        // What was stated for the letter; the letter itself is drafted by software.
        Assert.Contains(Of(all, "QuestionnaireResponse"), q => ((string?)q["author"]?["display"])?.StartsWith("Rowan Invented", StringComparison.Ordinal) == true);
    }

    [Fact]
    public async Task Saving_a_draft_leaves_its_prescriber_who_it_was()
    {
        using var system = await app.AsAsync(app.Hill);
        var (_, programme) = await app.ProgrammeAsync(system, ("status", "\"draft\""));
        var rowan = await app.SignedInAsync("Rowan Other", "therapist", "hill");
        var desk = await rowan.OpenAsync($"/programmes/{programme}/desk");
        Assert.Contains("Who prescribes Rowan Invented, physiotherapist as recorded", desk.Text, StringComparison.Ordinal);
        var saved = await rowan.PostAsync(desk, $"/programmes/{programme}/desk", desk.Changed([("title", "Small tasks, anew"), .. Forged]));
        Assert.True(saved.Status == HttpStatusCode.SeeOther, saved.Text);
        var now = await system.ExpectAsync(HttpStatusCode.OK, "GET", $"/api/programmes/{programme}");
        Assert.Equal(("Small tasks, anew", "Rowan Invented, physiotherapist"), ((string)now["title"]!, (string)now["author"]!));
    }

    [Fact]
    public async Task A_link_from_home_needs_no_sign_in_and_opens_nothing_but_its_own_page()
    {
        using var hill = await app.AsAsync(app.Hill);
        using var vale = await app.AsAsync(app.Vale);
        var (person, programme) = await app.ProgrammeAsync(hill);
        var rowan = await app.SignedInAsync("Rowan Invented", "therapist", "hill", registration: "INV-1001");
        var at = $"/programmes/{programme}/home-links";
        var links = await rowan.OpenAsync(at);
        var made = await rowan.PostAsync(links, at, ("once", "closed-1"), ("for", "carer"), ("validUntil", $"{app.Now.AddDays(14):yyyy-MM-dd}"), ("by.name", "Merle Fictive"), ("by.role", "consultant"));
        Assert.True(made.Status == HttpStatusCode.OK, made.Text);
        var path = LinkPattern().Match(made.Html).Value;
        Assert.NotEqual("", path);
        Assert.Contains("by Rowan Invented, physiotherapist, registration INV-1001", (await rowan.OpenAsync(at)).Text, StringComparison.Ordinal);

        // A telephone that has never signed in.
        var phone = new Browser(app);
        var page = await phone.OpenAsync(path);
        Assert.Contains("Practice of Perrin", page.Text, StringComparison.Ordinal);
        foreach (var closed in new[] { "/caseload", $"/people/{person}", at, $"/programmes/{programme}/home-sheet" })
            Assert.Equal(HttpStatusCode.Redirect, (await phone.GoAsync(closed)).Status);
        foreach (var closed in new[] { $"/api/people/{person}", $"/fhir/Patient/{person}" })
            Assert.Equal(HttpStatusCode.Unauthorized, (await phone.GoAsync(closed)).Status);

        var exercise = Regex.Match(page.Html, "name=\"(e-[^\"]+)\"").Groups[1].Value;
        var sent = await phone.PostAsync(path, new Dictionary<string, string> { ["entry"] = page.Field("entry"), ["session"] = "done", ["when"] = "now", ["role"] = "carer", [exercise] = "done", ["tell"] = "Went well, she says." });
        Assert.True(sent.Status == HttpStatusCode.SeeOther, sent.Text);
        Assert.Contains("It was sent", (await phone.OpenAsync(sent.Location!)).Text, StringComparison.Ordinal);
        var sessions = (await hill.ExpectAsync(HttpStatusCode.OK, "GET", $"/api/sessions?programme={programme}")).AsArray();
        var session = await hill.ExpectAsync(HttpStatusCode.OK, "GET", $"/api/sessions/{(string)Assert.Single(sessions)!["id"]!}");
        Assert.Equal("Went well, she says.", (string?)session["remarks"]![0]);
        // In the organisation whose link it is, and in no other; and it is accounted for.
        Assert.Equal(HttpStatusCode.NotFound, (await vale.SendAsync("GET", $"/api/programmes/{programme}")).Status);
        var audit = (await hill.ExpectAsync(HttpStatusCode.OK, "GET", $"/fhir/AuditEvent?patient=Patient/{person}&_count=200")).ToJsonString();
        Assert.Contains("home-link", audit, StringComparison.Ordinal);

        // One letter away there is nothing, and revoked it is as if it had never been.
        Assert.Equal(HttpStatusCode.NotFound, (await phone.GoAsync(path[..^1] + (path[^1] == 'A' ? 'B' : 'A'))).Status);
        var listed = await rowan.OpenAsync(at);
        var revocation = Regex.Match(listed.Html, "action=\"([^\"]*/revocation)\"").Groups[1].Value;
        var revoked = await rowan.PostAsync(listed, revocation, ("reason", "The phone is lost."));
        Assert.True(revoked.Status == HttpStatusCode.SeeOther, revoked.Text);
        Assert.Equal(HttpStatusCode.NotFound, (await phone.GoAsync(path)).Status);
        // Who reads the record only makes no link.
        var helper = await app.SignedInAsync("Hollis Unreal", "support-worker", "hill", "support worker");
        Assert.Equal(HttpStatusCode.Forbidden, (await helper.PostAsync(await helper.OpenAsync(at), at, ("once", "closed-2"), ("for", "carer"), ("validUntil", $"{app.Now.AddDays(14):yyyy-MM-dd}"))).Status);
    }

    private static async Task SentAsync(Browser browser, Opened page, string address, (string, string)[] fields)
    {
        var answer = await browser.PostAsync(page, address, fields);
        Assert.True(answer.Status == HttpStatusCode.SeeOther, $"{address}: {answer.Text}");
    }

    private static IEnumerable<JsonNode> Of(JsonNode bundle, string type) => bundle["entry"]!.AsArray().Select(e => e!["resource"]!).Where(r => (string?)r["resourceType"] == type);

    [GeneratedRegex("/home/[A-Za-z0-9_.~-]{20,}")]
    private static partial Regex LinkPattern();
}
