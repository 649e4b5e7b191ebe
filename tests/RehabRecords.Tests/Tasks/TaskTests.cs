using System.Net;
using System.Text.Json.Nodes;
using RehabRecords.Tests.Pages;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.Tasks;

/// <summary>What is to be done for a person, by the trade interface and by the pages.</summary>
public class TaskTests(TradeApp app) : IClassFixture<TradeApp>
{
    private const string By = """{ "name": "Rowan Invented", "role": "physiotherapist", "registration": "INV-1001" }""";

    [Fact]
    public async Task A_task_is_listed_until_somebody_says_what_became_of_it()
    {
        var person = await PersonAsync();
        var task = await AskAsync(person, "Order a splint.");
        var listed = (await app.GetAsync($"/api/tasks?person={person}")).AsArray().Single()!;
        Assert.Equal(("Order a splint.", "Vale Community Team", "2026-07-01", true), ((string)listed["what"]!, (string)listed["owner"]!, (string)listed["due"]!, (bool)listed["open"]!));
        var done = await app.PostAsync($"/api/tasks/{task}/outcome", JsonNode.Parse($$"""{ "outcome": "done", "by": {{By}} }""")!);
        Assert.Equal(("completed", false), ((string)done["status"]!, (bool)done["open"]!));
        Assert.Empty((await app.GetAsync($"/api/tasks?person={person}")).AsArray());
        var kept = await app.GetAsync($"/fhir/Task/{task}");
        Assert.Contains("Rowan Invented", (string)kept["note"]![0]!["authorReference"]!["display"]!, StringComparison.Ordinal);
        Assert.Contains("Done, as stated on 15 June 2026 by Rowan Invented", (string)kept["text"]!["div"]!, StringComparison.Ordinal);
    }

    [Theory]
    [InlineData("""{ "outcome": "cancelled", "by": BY }""", HttpStatusCode.UnprocessableEntity, "reason is missing")]
    [InlineData("""{ "outcome": "cancelled", "reason": "no", "by": BY }""", HttpStatusCode.UnprocessableEntity, "reason is 'no'")]
    [InlineData("""{ "outcome": "later", "by": BY }""", HttpStatusCode.UnprocessableEntity, "outcome is 'later'")]
    [InlineData("""{ "outcome": "done" }""", HttpStatusCode.UnprocessableEntity, "by is missing")]
    [InlineData("""{ "outcome": "done", "by": { "name": "Ann", "role": "carer" } }""", HttpStatusCode.UnprocessableEntity, "by.role is 'carer'")]
    public async Task A_refusal_names_the_field_and_changes_nothing(string body, HttpStatusCode status, string said)
    {
        var task = await AskAsync(await PersonAsync(), "Order a splint.");
        var before = app.State();
        using var refused = await app.Http.PostAsync($"/api/tasks/{task}/outcome", TestApp.Json(body.Replace("BY", By, StringComparison.Ordinal)));
        Assert.Equal(status, refused.StatusCode);
        Assert.Contains(said, (string)JsonNode.Parse(await refused.Content.ReadAsStringAsync())!["detail"]!, StringComparison.Ordinal);
        Assert.Equal(before, app.State());
    }

    [Fact]
    public async Task What_is_closed_or_ends_by_something_else_is_refused()
    {
        var person = await PersonAsync();
        var task = await AskAsync(person, "Order a splint.");
        var body = $$"""{ "outcome": "cancelled", "reason": "The splint is there already.", "by": {{By}} }""";
        await app.PostAsync($"/api/tasks/{task}/outcome", JsonNode.Parse(body)!);
        Assert.Contains("is cancelled, not open", await RefusedAsync(task, body), StringComparison.Ordinal);
        await app.PostAsync("/api/programmes", TradeApp.With(TradeApp.Programme(person).ToJsonString(), ("briefingRequired", "true")));
        var briefing = (await app.GetAsync($"/api/tasks?person={person}")).AsArray().Single()!;
        Assert.Equal("briefing", (string?)briefing["settledBy"]);
        Assert.Contains("is about a briefing", await RefusedAsync((string)briefing["id"]!, body), StringComparison.Ordinal);
        using var none = await app.Http.PostAsync("/api/tasks/nothing/outcome", TestApp.Json(body));
        Assert.Equal(HttpStatusCode.NotFound, none.StatusCode);
    }

    [Fact]
    public async Task A_therapist_finds_it_on_the_persons_page_and_closes_it_there()
    {
        var person = await PersonAsync();
        var task = await AskAsync(person, "Order a splint.");
        var browser = await Browser.AsAsync(app);
        var page = await browser.PageAsync($"/people/{person}");
        Assert.Contains($"<a href=\"/tasks/{task}\">Order a splint.</a>", page, StringComparison.Ordinal);
        Assert.Contains("with Vale Community Team · by 1 July 2026", Browser.Words(page), StringComparison.Ordinal);
        // What stands in the way of a discharge leads there as well, and not to what programs read.
        var discharge = await browser.PageAsync($"/people/{person}/discharge");
        Assert.Contains($"href=\"/tasks/{task}\"", discharge, StringComparison.Ordinal);
        Assert.DoesNotContain("href=\"/fhir/", discharge, StringComparison.Ordinal);

        var open = await browser.OpenAsync($"/tasks/{task}");
        Assert.Contains("Who does it Vale Community Team By 1 July 2026", open.Text, StringComparison.Ordinal);
        var refused = await browser.PostAsync(open, $"/tasks/{task}", ("outcome", "cancelled"), ("reason", "no"));
        Assert.Equal(HttpStatusCode.UnprocessableEntity, refused.Status);
        Assert.Contains("say in at least 10 characters why the task is not going to be done", refused.Text, StringComparison.Ordinal);
        var closed = await browser.PostAsync(open, $"/tasks/{task}", ("outcome", "cancelled"), ("reason", "The splint is there already."));
        Assert.True(closed.Status == HttpStatusCode.SeeOther, closed.Text);
        var after = await browser.OpenAsync($"/tasks/{task}");
        Assert.Contains("State cancelled", after.Text, StringComparison.Ordinal);
        Assert.Contains("Not going to be done, as stated on 15 June 2026 by Rowan Invented, physiotherapist, registration INV-1001: The splint is there already.", after.Text, StringComparison.Ordinal);
        Assert.DoesNotContain("name=\"outcome\"", after.Html, StringComparison.Ordinal);
        Assert.DoesNotContain($"/tasks/{task}", await browser.PageAsync($"/people/{person}"), StringComparison.Ordinal);
    }

    private async Task<string> RefusedAsync(string task, string body)
    {
        using var refused = await app.Http.PostAsync($"/api/tasks/{task}/outcome", TestApp.Json(body));
        Assert.Equal(HttpStatusCode.Conflict, refused.StatusCode);
        return (string)JsonNode.Parse(await refused.Content.ReadAsStringAsync())!["detail"]!;
    }

    private async Task<string> PersonAsync() => (string)(await app.PostAsync("/api/people", TradeApp.With(TradeApp.Person, ("familyName", $"\"Invented{TradeApp.Next()}\""))))["id"]!;

    /// <summary>As another system asks for it.</summary>
    private async Task<string> AskAsync(string person, string what)
    {
        using var stored = await app.Http.PostAsync("/fhir/Task", TestApp.Json($$"""
            { "resourceType": "Task", "status": "requested", "intent": "order", "description": "{{what}}", "for": { "reference": "Patient/{{person}}" }, "authoredOn": "2026-06-12",
              "owner": { "display": "Vale Community Team" }, "restriction": { "period": { "end": "2026-07-01" } } }
            """, "application/fhir+json"));
        Assert.Equal(HttpStatusCode.Created, stored.StatusCode);
        return (string)JsonNode.Parse(await stored.Content.ReadAsStringAsync())!["id"]!;
    }
}
