using System.Net;
using System.Text.RegularExpressions;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.Pages;

/// <summary>The clinician's page of links, walked as a browser does: with the form's token and cookie.</summary>
public sealed partial class HomeLinksPageTests(TradeApp app) : IClassFixture<TradeApp>
{
    [Fact]
    public async Task A_link_is_made_shown_once_and_revoked_on_the_page()
    {
        var (person, programme) = await app.ProgrammeAsync();
        using var browser = new HttpClient(new SocketsHttpHandler { AllowAutoRedirect = false }) { BaseAddress = app.Address };
        var at = $"/programmes/{programme}/home-links";
        Assert.Contains($"href=\"{at}\"", await browser.GetStringAsync($"/people/{person}"));
        var page = await browser.GetStringAsync(at);

        var missing = await SendAsync(browser, at, page, ("for", "carer"), ("by.name", "Rowan Invented"));
        Assert.Equal(HttpStatusCode.UnprocessableEntity, missing.Status);
        Assert.Contains("validUntil is missing", missing.Html);
        Assert.Contains("value=\"Rowan Invented\"", missing.Html);

        (string, string)[] whole = [("for", "carer"), ("validUntil", "2026-07-12"), ("by.name", "Rowan Invented"), ("by.role", "physiotherapist"), ("once", "one-form")];
        var made = await SendAsync(browser, at, page, whole);
        var address = AddressOf().Match(made.Html).Value;
        Assert.Contains("<svg", made.Html);
        Assert.Equal(HttpStatusCode.OK, (await browser.GetAsync(new Uri(address).AbsolutePath)).StatusCode);

        var again = await SendAsync(browser, at, page, whole);
        Assert.Contains("This form was sent before", again.Html);
        Assert.DoesNotMatch(AddressOf(), again.Html);
        var listed = await browser.GetStringAsync(at);
        Assert.DoesNotMatch(AddressOf(), listed);

        var revocation = Regex.Match(listed, "action=\"([^\"]*/revocation)\"").Groups[1].Value;
        var revoked = await SendAsync(browser, revocation, listed, ("reason", "Lost."), ("by.name", "Rowan Invented"), ("by.role", "physiotherapist"));
        Assert.Equal(HttpStatusCode.SeeOther, revoked.Status);
        Assert.Contains("Revoked, because: Lost.", WebUtility.HtmlDecode(await browser.GetStringAsync(at)));
        Assert.Equal(HttpStatusCode.NotFound, (await browser.GetAsync(new Uri(address).AbsolutePath)).StatusCode);
    }

    [Fact]
    public async Task Who_is_working_stands_in_the_form()
    {
        var (_, programme) = await app.ProgrammeAsync();
        var page = await (await Browser.AsAsync(app)).OpenAsync($"/programmes/{programme}/home-links");
        Assert.Equal(("Rowan Invented", "physiotherapist", "INV-1001"), (page.Field("by.name"), page.Field("by.role"), page.Field("by.registration")));
    }

    [Fact]
    public async Task A_forged_post_makes_no_link()
    {
        var (_, programme) = await app.ProgrammeAsync();
        var before = app.State();
        using var forged = await app.Http.PostAsync($"/programmes/{programme}/home-links", new FormUrlEncodedContent(
            [new("for", "carer"), new("validUntil", "2026-07-12"), new("by.name", "Somebody Else"), new("by.role", "physiotherapist")]));
        Assert.Equal(HttpStatusCode.BadRequest, forged.StatusCode);
        Assert.Equal(before, app.State());
    }

    private static async Task<(HttpStatusCode Status, string Html)> SendAsync(HttpClient browser, string to, string page, params (string Name, string Value)[] fields)
    {
        var token = TokenField().Match(page);
        using var form = new FormUrlEncodedContent(fields.Select(f => KeyValuePair.Create(f.Name, f.Value)).Append(new(token.Groups[1].Value, token.Groups[2].Value)));
        using var answer = await browser.PostAsync(to, form);
        return (answer.StatusCode, WebUtility.HtmlDecode(await answer.Content.ReadAsStringAsync()));
    }

    [GeneratedRegex("<input type=\"hidden\" name=\"(__RequestVerificationToken|token)\" value=\"([^\"]+)\"")]
    private static partial Regex TokenField();

    [GeneratedRegex(@"http://records\.test/home/[A-Za-z0-9_-]{32}")]
    private static partial Regex AddressOf();
}
