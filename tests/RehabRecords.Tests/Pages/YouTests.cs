using System.Net;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.Pages;

public class YouTests(TradeApp app) : IClassFixture<TradeApp>
{
    [Fact]
    public async Task Who_is_working_is_said_once_and_stands_on_every_page_until_it_is_taken_back()
    {
        var visitor = await Browser.AsAsync(app, "Rowan “Row” Invented & Co");
        Assert.Contains("Working: Rowan “Row” Invented & Co, physiotherapist", await visitor.WordsAsync("/caseload"));
        Assert.Contains("nobody checks that you are who you say", await visitor.WordsAsync("/you"));
        Assert.Equal(HttpStatusCode.SeeOther, (await visitor.SendAsync("/you", "/you/leave")).Status);
        Assert.Contains("Say who is working", await visitor.WordsAsync("/caseload"));
    }

    [Fact]
    public async Task After_twelve_hours_it_has_to_be_said_again()
    {
        var visitor = await Browser.AsAsync(app);
        var now = app.Time.Now;
        try
        {
            app.Time.Now = now.AddHours(13);
            Assert.Contains("Say who is working", await visitor.WordsAsync("/help"));
        }
        finally
        {
            app.Time.Now = now;
        }
    }

    [Theory]
    [InlineData("", "physiotherapist", "", "Name is missing")]
    [InlineData("Rowan Invented", "carer", "", "a note is written and signed by staff")]
    [InlineData("Rowan Invented", "physiotherapist", "INV-1", "Body that keeps the register is missing")]
    [InlineData("Rowan <b>Invented</b>", "physiotherapist", "", "contains the HTML tag")]
    public async Task What_cannot_be_is_refused_with_the_remedy_and_what_was_typed_is_kept(string name, string role, string registration, string says)
    {
        var visitor = new Browser(app);
        var (status, body, _) = await visitor.SendAsync("/you", "/you", ("name", name), ("role", role), ("registration", registration), ("registrationBody", ""));
        Assert.Equal(HttpStatusCode.UnprocessableEntity, status);
        Assert.Contains(says, Browser.Words(body));
        Assert.Contains($"value=\"{WebUtility.HtmlEncode(role)}\"", body);
    }

    [Fact]
    public async Task A_post_without_the_token_of_the_page_is_refused()
    {
        var visitor = new Browser(app);
        await visitor.PageAsync("/you");
        var (status, body, _) = await visitor.PostAsync("/you", [KeyValuePair.Create("name", "Rowan Invented"), KeyValuePair.Create("role", "physiotherapist")]);
        Assert.Equal(HttpStatusCode.BadRequest, status);
        Assert.Contains("does not carry the token", Browser.Words(body));
        Assert.Contains("Say who is working", await visitor.WordsAsync("/caseload"));
    }

    [Theory]
    [InlineData("/people/1?programme=2", "/people/1?programme=2")]
    [InlineData("https://elsewhere.example/", "/caseload")]
    [InlineData("//elsewhere.example/", "/caseload")]
    [InlineData("/\\elsewhere.example/", "/caseload")]
    public async Task One_is_led_back_to_where_one_came_from_and_never_elsewhere(string back, string to)
    {
        var visitor = new Browser(app);
        var (_, _, location) = await visitor.SendAsync($"/you?back={Uri.EscapeDataString(back)}", "/you", ("name", "Rowan Invented"), ("role", "physiotherapist"));
        Assert.Equal(to, location);
    }

    [Fact]
    public async Task A_cookie_of_elsewhere_counts_as_none()
    {
        using var request = new HttpRequestMessage(HttpMethod.Get, "/caseload");
        request.Headers.Add("Cookie", "who=CfDJ8made-up");
        using var response = await app.Http.SendAsync(request);
        Assert.Contains("Say who is working", await response.Content.ReadAsStringAsync());
    }
}
