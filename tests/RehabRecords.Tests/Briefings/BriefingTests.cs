using System.Net;
using System.Text.Json.Nodes;
using RehabRecords.Tests.Exchange;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.Briefings;

public class BriefingTests(TradeApp app) : IClassFixture<TradeApp>
{
    private const string Briefing = $$"""{ "points": ["Sit on the affected side.", "Stop when pain goes above 5 of 10."], "by": {{Teams.By}} }""";

    [Fact]
    public async Task A_programme_that_requires_a_briefing_waits_until_it_is_acknowledged()
    {
        var (_, programme) = await app.ProgrammeAsync(("briefingRequired", "true"));
        Assert.Equal("on-hold", await StatusAsync(programme));
        Assert.Equal(("required", true), State(await app.GetAsync($"/api/programmes/{programme}/briefing")));

        Assert.Equal(("given", true), State(await app.PostAsync($"/api/programmes/{programme}/briefing", JsonNode.Parse(Briefing)!)));
        Assert.Equal("on-hold", await StatusAsync(programme));
        Assert.Equal(("not-understood", true), State(await AcknowledgeAsync(programme, """{ "understood": false, "shownBack": "Sat on the other side." }""")));
        Assert.Equal("on-hold", await StatusAsync(programme));

        await app.PostAsync($"/api/programmes/{programme}/briefing", JsonNode.Parse(Briefing)!);
        var done = await AcknowledgeAsync(programme, $$"""{ "understood": true, "shownBack": "Sat on the right side.", "witness": {{Teams.By}} }""");
        Assert.Equal(("acknowledged", false), State(done));
        Assert.Equal("active", await StatusAsync(programme));
        Assert.Equal(["replaced", "acknowledged"], done["briefings"]!.AsArray().Select(b => (string)b!["state"]!));
        Assert.Equal("Sat on the right side.", (string?)done["briefings"]![1]!["shownBack"]);
    }

    [Fact]
    public async Task A_draft_that_requires_a_briefing_is_on_hold_once_it_is_handed_over()
    {
        var (_, programme) = await app.ProgrammeAsync(("briefingRequired", "true"), ("status", "\"draft\""));
        await app.PostAsync($"/api/programmes/{programme}/activation", JsonNode.Parse($$"""{ "by": {{Teams.By}} }""")!);
        Assert.Equal("on-hold", await StatusAsync(programme));
    }

    [Fact]
    public async Task A_briefing_may_stop_a_programme_that_runs_and_one_that_is_not_required_does_not()
    {
        var (_, programme) = await app.ProgrammeAsync();
        await app.PostAsync($"/api/programmes/{programme}/briefing", JsonNode.Parse(Briefing)!);
        Assert.Equal("active", await StatusAsync(programme));
        await app.PostAsync($"/api/programmes/{programme}/briefing", TradeApp.With(Briefing, ("required", "true")));
        Assert.Equal("on-hold", await StatusAsync(programme));
        await AcknowledgeAsync(programme, """{ "understood": true }""");
        Assert.Equal("active", await StatusAsync(programme));
    }

    [Fact]
    public async Task What_cannot_be_is_refused()
    {
        var (_, programme) = await app.ProgrammeAsync();
        await app.RefusedAsync($"/api/programmes/{programme}/briefing", TradeApp.With(Briefing, ("points", "[]")).ToJsonString(), HttpStatusCode.UnprocessableEntity, "points", "at least one point");
        await app.RefusedAsync($"/api/programmes/{programme}/briefing", TradeApp.With(Briefing, ("carer", "\"nobody\"")).ToJsonString(), HttpStatusCode.UnprocessableEntity, "carer", "no such carer");
        await app.RefusedAsync($"/api/programmes/{programme}/briefing", TradeApp.With(Briefing, ("by", null)).ToJsonString(), HttpStatusCode.UnprocessableEntity, "by", "clinician");
        await app.RefusedAsync($"/api/programmes/{programme}/briefing/acknowledgement", """{ "understood": true }""", HttpStatusCode.Conflict, "id", "no briefing that waits");
        await app.RefusedAsync($"/api/programmes/{programme}/briefing/acknowledgement", "{}", HttpStatusCode.UnprocessableEntity, "understood", "true or false");
    }

    private Task<JsonNode> AcknowledgeAsync(string programme, string body) => app.PostAsync($"/api/programmes/{programme}/briefing/acknowledgement", JsonNode.Parse(body)!);

    private async Task<string> StatusAsync(string programme) => (string)(await app.GetAsync($"/api/programmes/{programme}"))["status"]!;

    private static (string, bool) State(JsonNode answer) => ((string)answer["state"]!, (bool)answer["onHold"]!);
}
