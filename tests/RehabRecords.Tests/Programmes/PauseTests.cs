using System.Net;
using System.Text.Json.Nodes;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.Programmes;

public class PauseTests(TradeApp app) : IClassFixture<TradeApp>
{
    private const string By = """{ "name": "Rowan Invented", "role": "physiotherapist" }""";

    private static JsonObject Pause(params (string Path, string? Json)[] changes) =>
        TradeApp.With($$"""{ "from": "2026-06-03", "to": "2026-06-07", "reason": "Away at the sea.", "by": {{By}} }""", changes);

    private async Task<JsonNode> NoteAsync(string person) =>
        await app.GetAsync($"/api/notes/{(string)(await app.GetAsync($"/api/notes?person={person}"))[0]!["id"]!}");

    [Fact]
    public async Task Paused_days_are_not_due_whenever_the_pause_is_told_and_the_draft_says_so()
    {
        var of = await app.ProgrammeAsync();
        // Computed: 10 days to the 10th, once a day.
        Assert.Equal(10, (int?)(await app.PostAsync("/api/sessions", TradeApp.Session(of)))["adherence"]!["due"]);
        var pause = await app.PostAsync($"/api/programmes/{of.Programme}/pauses", Pause());
        Assert.Equal(("2026-06-03", "2026-06-07", "Rowan Invented, physiotherapist"), ((string?)pause["from"], (string?)pause["to"], (string?)pause["by"]));

        // Computed: 10 days less the 5 that are paused.
        var progress = (await app.GetAsync($"/api/people/{of.Person}/progress"))["programmes"]![0]!;
        Assert.Equal((5, 1, 4), ((int)progress["adherence"]!["due"]!, (int)progress["adherence"]!["done"]!, (int)progress["adherence"]!["unknown"]!));
        Assert.Equal(pause.ToJsonString(), Assert.Single(progress["pauses"]!.AsArray())!.ToJsonString());
        Assert.Equal(pause.ToJsonString(), Assert.Single((await app.GetAsync($"/api/programmes/{of.Programme}"))["pauses"]!.AsArray())!.ToJsonString());
        var note = await NoteAsync(of.Person);
        Assert.Equal("Paused by Rowan Invented, physiotherapist from 3 June 2026 to 7 June 2026: “Away at the sea.” Nothing is due on these days.",
            (string?)note["statements"]!.AsArray().Single(s => (string?)s!["rule"] == "pause")!["text"]);
        Assert.Contains(note["statements"]!.AsArray(), s => ((string)s!["text"]!).Contains("5 home sessions were planned", StringComparison.Ordinal));
        Assert.Equal((string?)note["composition"], (string?)(await app.PostAsync("/api/notes", new JsonObject { ["programme"] = of.Programme }))["composition"]);

        // What is practised all the same is beyond the plan.
        var extra = await app.PostAsync("/api/sessions", TradeApp.Session(of, ("doneAt", "\"2026-06-05T10:00:00+01:00\"")));
        Assert.Equal((5, 1, 1), ((int)extra["adherence"]!["due"]!, (int)extra["adherence"]!["done"]!, (int)extra["adherence"]!["extra"]!));
    }

    [Fact]
    public async Task An_open_pause_is_ended_and_the_days_after_it_are_due()
    {
        var of = await app.ProgrammeAsync();
        await app.PostAsync($"/api/programmes/{of.Programme}/pauses", Pause(("to", null)));
        // Computed: the 1st and the 2nd.
        Assert.Equal(2, (int?)(await app.PostAsync("/api/sessions", TradeApp.Session(of)))["adherence"]!["due"]);
        await app.RefusedAsync($"/api/programmes/{of.Programme}/pauses/2026-06-03/end", $$"""{ "to": "2026-06-02", "by": {{By}} }""", HttpStatusCode.UnprocessableEntity, "to",
            "to is 2026-06-02; give the last paused day, from 2026-06-03 on");
        var ended = await app.PostAsync($"/api/programmes/{of.Programme}/pauses/2026-06-03/end", JsonNode.Parse($$"""{ "to": "2026-06-08", "by": {{By}} }""")!);
        Assert.Equal(("2026-06-08", "Rowan Invented, physiotherapist"), ((string?)ended["to"], (string?)ended["endedBy"]));
        // Computed: the 1st, the 2nd, the 9th and the 10th.
        Assert.Equal(4, (int?)(await app.GetAsync($"/api/people/{of.Person}/progress"))["programmes"]![0]!["adherence"]!["due"]);
        await app.RefusedAsync($"/api/programmes/{of.Programme}/pauses/2026-06-03/end", $$"""{ "by": {{By}} }""", HttpStatusCode.Conflict, "from", "ended on 2026-06-08 already");
    }

    [Fact]
    public async Task Ended_without_a_day_practice_goes_on_today()
    {
        var of = await app.ProgrammeAsync();
        await app.PostAsync($"/api/programmes/{of.Programme}/pauses", Pause(("from", "\"2026-06-12\""), ("to", null)));
        Assert.Equal("2026-06-14", (string?)(await app.PostAsync($"/api/programmes/{of.Programme}/pauses/2026-06-12/end", JsonNode.Parse($$"""{ "by": {{By}} }""")!))["to"]);
    }

    [Theory]
    [InlineData("from", null, "from", "from is missing; give the first day on which nothing is due")]
    [InlineData("from", "\"2026-05-20\"", "from", "from is 2026-05-20, and the programme runs from 2026-06-01 to 2026-07-12; give a day of it")]
    [InlineData("to", "\"2026-06-01\"", "to", "to is 2026-06-01, before from (2026-06-03); give the last paused day")]
    [InlineData("reason", null, "reason", "reason is missing; give why practice is paused")]
    [InlineData("by", null, "by", "by is missing; give the clinician who pauses it")]
    [InlineData("by.role", "\"friend\"", "by.role", "by.role is 'friend', which is not a clinician's role")]
    public async Task A_pause_that_cannot_stand_is_refused_and_nothing_is_stored(string path, string? json, string field, string says)
    {
        var of = await app.ProgrammeAsync();
        await app.RefusedAsync($"/api/programmes/{of.Programme}/pauses", Pause((path, json)).ToJsonString(), HttpStatusCode.UnprocessableEntity, field, says);
    }

    [Fact]
    public async Task Pauses_do_not_overlap_even_when_they_are_told_at_once()
    {
        var of = await app.ProgrammeAsync();
        var answers = await System.Threading.Tasks.Task.WhenAll(Enumerable.Range(0, 4).Select(async i =>
        {
            using var response = await app.Http.PostAsync($"/api/programmes/{of.Programme}/pauses", TestApp.Json(Pause(("from", $"\"2026-06-0{i + 3}\""))));
            return (response.StatusCode, Text: await response.Content.ReadAsStringAsync());
        }));
        Assert.Single(answers, a => a.StatusCode == HttpStatusCode.Created);
        Assert.All(answers.Where(a => a.StatusCode != HttpStatusCode.Created), a => Assert.Contains("covers some of these days; end that one, or give days outside it", a.Text, StringComparison.Ordinal));
        await app.RefusedAsync($"/api/programmes/{of.Programme}/pauses/2026-06-01/end", $$"""{ "by": {{By}} }""", HttpStatusCode.NotFound, "from", "The programme has no pause from '2026-06-01'");
    }
}
