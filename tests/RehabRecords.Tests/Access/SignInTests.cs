using System.Net;
using Microsoft.AspNetCore.Hosting;
using RehabRecords.Tests.Commands;
using RehabRecords.Tests.Pages;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.Access;

/// <summary>A closed service whose people sign in at the development issuer, over the real protocol.</summary>
public class SignInApp : AccessApp
{
    public SignInApp()
    {
        var port = RunningProgram.FreePort();
        Settings["urls"] = $"http://127.0.0.1:{port}";
        Settings["RehabRecords:PublicUrl"] = $"http://127.0.0.1:{port}";
        Settings["RehabRecords:Access:DevelopmentIssuer"] = "true";
        Clock = new TestClock(DateTimeOffset.UtcNow);
    }

    protected override void ConfigureWebHost(IWebHostBuilder builder)
    {
        base.ConfigureWebHost(builder);
        builder.UseEnvironment("Development");
    }

    /// <summary>Somebody who has gone all the way from a page to the issuer and back.</summary>
    internal async Task<Browser> SignedInAsync(string name, string role, string organisation, string profession = "physiotherapist", string? registration = null)
    {
        var browser = new Browser(this);
        var (status, _, location) = await browser.GoAsync("/caseload");
        Assert.Equal(HttpStatusCode.Redirect, status);
        var asked = await browser.PageAsync(location!);
        (status, var body, location) = await browser.PostAsync("/development-issuer/authorize", Browser.Form(asked, "/development-issuer/authorize",
            ("person", name), ("role", role), ("organisation", organisation), ("profession", profession), ("registrationBody", registration is null ? "" : "Register of Invented Professions"), ("registration", registration ?? "")));
        Assert.True(status == HttpStatusCode.Redirect, $"{status}: {body}");
        Assert.StartsWith(Base + "/signed-in?code=", location);
        (status, body, location) = await browser.GoAsync(location!);
        Assert.True(status == HttpStatusCode.Redirect, $"{status}: {body}");
        Assert.Equal("/caseload", location);
        return browser;
    }

    /// <summary>Somebody of the organisation, with a programme that began a week ago.</summary>
    internal async Task<(string Person, string Programme)> ProgrammeAsync(HttpClient http, params (string Path, string? Json)[] changes)
    {
        var today = DateOnly.FromDateTime(Now.UtcDateTime);
        foreach (var code in new[] { "coin-stacking", "key-turning", "towel-wiping" })
            await http.SendAsync("POST", "/api/exercises", TradeApp.With(TradeApp.Exercise, ("code", $"\"{code}\""), ("title", $"\"{code}\"")).ToJsonString());
        await http.SendAsync("POST", "/api/templates", TradeApp.Template);
        var person = (string)(await http.ExpectAsync(HttpStatusCode.Created, "POST", "/api/people", TradeApp.Person))["id"]!;
        var programme = TradeApp.With(TradeApp.Programme(person).ToJsonString(), [("start", $"\"{today.AddDays(-7):yyyy-MM-dd}\""), ("end", $"\"{today.AddDays(30):yyyy-MM-dd}\""), .. changes]);
        return (person, (string)(await http.ExpectAsync(HttpStatusCode.Created, "POST", "/api/programmes", programme.ToJsonString()))["id"]!);
    }

    /// <summary>The draft that a session of yesterday leaves behind.</summary>
    internal async Task<string> NoteAsync(HttpClient http, string programme)
    {
        var person = ((string)(await http.ExpectAsync(HttpStatusCode.OK, "GET", $"/api/programmes/{programme}"))["person"]!).Split('/')[^1];
        var session = await http.ExpectAsync(HttpStatusCode.Created, "POST", "/api/sessions",
            TradeApp.Session((person, programme), ("doneAt", $"\"{DateOnly.FromDateTime(Now.UtcDateTime).AddDays(-1):yyyy-MM-dd}T10:00:00Z\"")).ToJsonString());
        return ((string)session["note"]!["address"]!).Split('/')[^1];
    }
}

public sealed class SignInTests(SignInApp app) : IClassFixture<SignInApp>
{
    [Fact]
    public async Task Somebody_who_is_not_signed_in_is_sent_to_the_issuer_and_comes_back_to_the_page()
    {
        var rowan = await app.SignedInAsync("Rowan Invented", "therapist", "hill", registration: "INV-1001");
        Assert.Contains("Working: Rowan Invented, physiotherapist", await rowan.WordsAsync("/caseload"));
        Assert.DoesNotContain("nobody signs in here", await rowan.PageAsync("/caseload"));
        Assert.Contains("registration INV-1001 (Register of Invented Professions)", await rowan.WordsAsync("/you"));
        // Saying to be somebody else is no way in.
        var form = Browser.Form(await rowan.PageAsync("/you"), "/you/leave", ("name", "Merle Fictive"), ("role", "consultant"));
        Assert.Equal(HttpStatusCode.Forbidden, (await rowan.PostAsync("/you", form)).Status);
        Assert.Equal(HttpStatusCode.SeeOther, (await rowan.SendAsync("/you", "/you/leave")).Status);
        Assert.Equal(HttpStatusCode.Redirect, (await rowan.GoAsync("/caseload")).Status);
    }

    [Theory]
    [InlineData("therapist", "dale")]
    [InlineData("system", "hill")]
    [InlineData("consultant", "hill")]
    public async Task An_account_without_a_role_or_organisation_known_here_is_told_so(string role, string organisation)
    {
        var browser = new Browser(app);
        var (_, _, location) = await browser.GoAsync("/caseload");
        var asked = await browser.PageAsync(location!);
        (_, _, location) = await browser.PostAsync("/development-issuer/authorize", Browser.Form(asked, "/development-issuer/authorize", ("person", "Nobody Known"), ("role", role), ("organisation", organisation)));
        var (status, body, _) = await browser.GoAsync(location!);
        Assert.Equal(HttpStatusCode.Forbidden, status);
        Assert.Contains("no role and organisation that are known here", Browser.Words(body));
        Assert.Equal(HttpStatusCode.Redirect, (await browser.GoAsync("/caseload")).Status);
    }

    [Fact]
    public async Task A_code_of_the_issuer_is_of_no_use_without_the_browser_that_asked_for_it()
    {
        var asker = new Browser(app);
        var (_, _, location) = await asker.GoAsync("/caseload");
        var asked = await asker.PageAsync(location!);
        (_, _, location) = await asker.PostAsync("/development-issuer/authorize", Browser.Form(asked, "/development-issuer/authorize", ("person", "Rowan Invented"), ("role", "therapist"), ("organisation", "hill")));
        var thief = new Browser(app);
        Assert.Equal(HttpStatusCode.Forbidden, (await thief.GoAsync(location!)).Status);
        Assert.Equal(HttpStatusCode.Redirect, (await thief.GoAsync("/caseload")).Status);
    }

    [Fact]
    public async Task A_cookie_opens_nothing_for_programs_and_a_token_opens_no_page()
    {
        var rowan = await app.SignedInAsync("Rowan Invented", "therapist", "hill");
        Assert.Equal(HttpStatusCode.Unauthorized, (await rowan.GoAsync("/fhir/Patient")).Status);
        Assert.Equal(HttpStatusCode.Unauthorized, (await rowan.GoAsync("/api/people")).Status);
        using var system = await app.AsAsync(app.Hill);
        Assert.NotEqual(HttpStatusCode.OK, (await system.GetAsync("/caseload")).StatusCode);
    }

    [Fact]
    public async Task A_signature_carries_the_name_of_who_signed_in_whatever_the_form_says()
    {
        using var notes = await app.AsAsync(app.Hill);
        var (_, programme) = await app.ProgrammeAsync(notes);
        var note = await app.NoteAsync(notes, programme);
        var student = await app.SignedInAsync("Sorrel Pretend", "student", "hill", "student physiotherapist");
        var helper = await app.SignedInAsync("Hollis Unreal", "support-worker", "hill", "support worker");
        var at = $"/notes/{note}";
        // The role does not sign, though the page of the note can be read.
        var refused = await helper.SendAsync(at, $"{at}/sign");
        Assert.Equal(HttpStatusCode.Forbidden, refused.Status);
        Assert.Contains("which the role support-worker does not have", Browser.Words(refused.Html));

        var (status, body, _) = await student.SendAsync(at, $"{at}/sign", ("read", "yes"), ("name", "Merle Fictive"), ("role", "physiotherapist"), ("registration", "INV-1002"), ("by.name", "Merle Fictive"));
        Assert.True(status == HttpStatusCode.SeeOther, body);
        Assert.Equal(HttpStatusCode.Forbidden, (await student.SendAsync(at, $"{at}/countersign", ("read", "yes"))).Status);
        var rowan = await app.SignedInAsync("Rowan Invented", "therapist", "hill", registration: "INV-1001");
        (status, body, _) = await rowan.SendAsync(at, $"{at}/countersign", ("read", "yes"), ("name", "Merle Fictive"));
        Assert.True(status == HttpStatusCode.SeeOther, body);
        var signed = (await notes.ExpectAsync(HttpStatusCode.OK, "GET", $"/fhir/Composition/{note}")).ToJsonString();
        Assert.Contains("Sorrel Pretend, student physiotherapist", signed);
        Assert.Contains("Rowan Invented, physiotherapist, registration INV-1001", signed);
        Assert.DoesNotContain("Fictive", signed);
        // A system has no name to sign with.
        var system = await notes.ExpectAsync(HttpStatusCode.Forbidden, "POST", $"/api/notes/{note}/signature", """{ "by": { "name": "Merle Fictive", "role": "physiotherapist" } }""");
        Assert.Contains("which the role system does not have", system.Said());

        // Of the other organisation, nobody finds it.
        var vale = await app.SignedInAsync("Vale Therapist", "therapist", "vale");
        Assert.Equal(HttpStatusCode.NotFound, (await vale.GoAsync(at)).Status);
        Assert.DoesNotContain("Placeholder", await vale.PageAsync("/caseload"));
        Assert.Contains("Placeholder", await rowan.PageAsync("/caseload"));
    }

    [Theory]
    [InlineData("--environment", "Production", "http://127.0.0.1:{port}", "works in the environment Development only")]
    [InlineData("--environment", "Development", "http://0.0.0.0:{port}", "reached from this machine only")]
    public async Task The_development_issuer_starts_nowhere_else(string name, string environment, string url, string said)
    {
        var folder = Directory.CreateTempSubdirectory("rehabrecords-issuer-").FullName;
        try
        {
            using var program = RunningProgram.Start(folder, "--urls", url.Replace("{port}", $"{RunningProgram.FreePort()}"), name, environment, "--RehabRecords:Access:Mode", "closed", "--RehabRecords:Access:DevelopmentIssuer", "true");
            Assert.True(await program.EndAsync() == 1, program.Said);
            Assert.Contains(said, program.Said);
            Assert.DoesNotContain("   at ", program.Said);
        }
        finally
        {
            TestEngine.Drop(folder);
        }
    }
}
