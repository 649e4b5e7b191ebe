using System.Net;
using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Store;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.Programmes;

public class DraftRewriteTests(TradeApp app) : IClassFixture<TradeApp>
{
    private const string Goal = """{ "description": "Lay the table.", "levels": { "-2": "a", "-1": "b", "0": "c", "+1": "d", "+2": "e" }, "due": "2026-07-10" }""";

    private async Task<(HttpStatusCode Status, string? ETag, JsonNode Answer)> PutAsync(string programme, JsonNode body, string? ifMatch)
    {
        using var request = new HttpRequestMessage(HttpMethod.Put, $"/api/programmes/{programme}") { Content = TestApp.Json(body) };
        if (ifMatch is not null)
            request.Headers.TryAddWithoutValidation("If-Match", ifMatch);
        using var response = await app.Http.SendAsync(request);
        return (response.StatusCode, response.Headers.ETag?.ToString(), JsonNode.Parse(await response.Content.ReadAsStringAsync())!);
    }

    private async Task<(string Person, string Programme)> DraftAsync() => await app.ProgrammeAsync(("status", "\"draft\""), ("goals", $"[{Goal}]"));

    [Fact]
    public async Task A_draft_is_written_anew_and_what_stays_keeps_its_id()
    {
        var draft = await DraftAsync();
        using var first = await app.Http.GetAsync($"/api/programmes/{draft.Programme}");
        Assert.Equal("W/\"1\"", first.Headers.ETag?.ToString());
        var before = JsonNode.Parse(await first.Content.ReadAsStringAsync())!;
        Assert.Equal(["Stacking coins", "Turning a key"], before["exercises"]!.AsArray().Select(e => (string?)e!["title"]));

        var body = TradeApp.With(TradeApp.Programme(draft.Person).ToJsonString(),
            ("exercises[1]", """{ "exercise": "towel-wiping|1.0.0", "side": "both" }"""),
            ("exercises[0].dosage", """{ "sets": 2 }"""), ("exercises[0].instruction", "\"By the window.\""),
            ("painLimit", "3"), ("end", "\"2026-07-05\""), ("title", "\"Coins and a towel\""), ("author", null),
            ("goals", $$"""[{{Goal}}, {{Goal.Replace("Lay the table.", "Open a jar.", StringComparison.Ordinal)}}]"""));
        var (status, etag, answer) = await PutAsync(draft.Programme, body, "W/\"1\"");
        Assert.Equal((HttpStatusCode.OK, "W/\"2\""), (status, etag));
        Assert.Equal(("draft", "Coins and a towel", 3, "2026-07-05"), ((string?)answer["status"], (string?)answer["title"], (int)answer["painLimit"]!, (string?)answer["end"]));
        Assert.Equal((string?)before["author"], (string?)answer["author"]);
        var exercises = answer["exercises"]!.AsArray();
        Assert.Equal(["Stacking coins", "Wiping with a towel"], exercises.Select(e => (string?)e!["title"]));
        Assert.Equal((string?)before["exercises"]![0]!["id"], (string?)exercises[0]!["id"]);
        // Two sets in place of three; the twelve repetitions are the template's level's.
        Assert.Equal((2, 12), ((int)exercises[0]!["dosage"]!["sets"]!, (int)exercises[0]!["dosage"]!["repetitions"]!));
        Assert.Contains("By the window.", (string?)exercises[0]!["patientInstruction"], StringComparison.Ordinal);
        Assert.Equal((string?)before["goals"]![0]!["id"], (string?)answer["goals"]![0]!["id"]);
        Assert.Equal(answer.ToJsonString(), (await app.GetAsync($"/api/programmes/{draft.Programme}")).ToJsonString());

        var requests = await app.Store.FindAllAsync<ServiceRequest>($"based-on=CarePlan/{draft.Programme}");
        Assert.Equal([RequestStatus.Draft, RequestStatus.Draft, RequestStatus.EnteredInError], requests.Select(r => r.Status!.Value).Order());
        var (plan, _) = (await app.Store.GetAsync<CarePlan>(draft.Programme))!.Value;
        Assert.Equal(2, plan.Activity.Count);
        Assert.DoesNotContain("Turning a key", plan.Text!.Div, StringComparison.Ordinal);
        var active = await app.PostAsync($"/api/programmes/{draft.Programme}/activation", JsonNode.Parse("""{ "by": { "name": "Rowan Invented", "role": "physiotherapist" } }""")!);
        Assert.Equal(["Stacking coins", "Wiping with a towel"], active["exercises"]!.AsArray().Select(e => (string?)e!["title"]));
    }

    [Fact]
    public async Task A_goal_that_is_left_out_is_kept_as_entered_in_error()
    {
        var draft = await DraftAsync();
        var goal = (string)(await app.GetAsync($"/api/programmes/{draft.Programme}"))["goals"]![0]!["id"]!;
        var (status, _, answer) = await PutAsync(draft.Programme, TradeApp.Programme(draft.Person), "W/\"1\"");
        Assert.Equal((HttpStatusCode.OK, 0), (status, answer["goals"]!.AsArray().Count));
        Assert.Equal(Hl7.Fhir.Model.Goal.GoalLifecycleStatus.EnteredInError, (await app.Store.GetAsync<Goal>(goal))!.Value.Resource.LifecycleStatus);
    }

    [Fact]
    public async Task A_precaution_recorded_meanwhile_brings_its_cautions_with_the_next_writing()
    {
        var draft = await DraftAsync();
        await app.PostAsync($"/api/people/{draft.Person}/precautions", JsonNode.Parse("""{ "code": "shoulder-pain", "by": { "name": "Rowan Invented", "role": "physiotherapist" } }""")!);
        var (_, _, answer) = await PutAsync(draft.Programme, TradeApp.Programme(draft.Person), "W/\"1\"");
        var caution = Assert.Single(answer["exercises"]![0]!["cautions"]!.AsArray(), c => (string?)c!["code"] == "shoulder-pain" && c["reason"] is not null);
        Assert.Contains("shoulder pain", (string?)caution!["reason"], StringComparison.Ordinal);
        Assert.NotNull(caution["source"]);
    }

    [Fact]
    public async Task Of_two_who_write_at_once_the_second_is_told_and_nothing_is_lost()
    {
        var draft = await DraftAsync();
        await PutAsync(draft.Programme, TradeApp.Programme(draft.Person), "W/\"1\"");
        var state = app.State();
        var (stale, etag, problem) = await PutAsync(draft.Programme, TradeApp.Programme(draft.Person), "W/\"1\"");
        Assert.Equal((HttpStatusCode.PreconditionFailed, "W/\"2\""), (stale, etag));
        Assert.Contains("is at version 2, the change was made from version 1", (string?)problem["detail"], StringComparison.Ordinal);
        Assert.Equal(428, (int)(await PutAsync(draft.Programme, TradeApp.Programme(draft.Person), null)).Status);
        Assert.Equal(state, app.State());
    }

    [Theory]
    [InlineData("status", "\"active\"", "status", "a draft that is written anew stays a draft")]
    [InlineData("person", "\"nobody\"", "person", "give that one, or write a new programme for the other person")]
    [InlineData("exercises[0].dosage", """{ "sets": 0 }""", "exercises[0].dosage.sets", "exercises[0].dosage.sets is 0; give a number of sets from 1 to 100")]
    [InlineData("level", "7", "level", "level is 7, which the template small-tasks|1.0.0 does not have")]
    public async Task A_bad_draft_is_refused_with_the_field(string path, string json, string field, string says)
    {
        var draft = await DraftAsync();
        var state = app.State();
        var (status, _, problem) = await PutAsync(draft.Programme, TradeApp.With(TradeApp.Programme(draft.Person).ToJsonString(), (path, json)), "W/\"1\"");
        Assert.Equal(HttpStatusCode.UnprocessableEntity, status);
        Assert.Contains(problem["errors"]!.AsArray(), e => (string?)e!["field"] == field && ((string)e["message"]!).Contains(says, StringComparison.Ordinal));
        Assert.Equal(state, app.State());
    }

    [Fact]
    public async Task A_programme_in_force_is_not_written_anew()
    {
        var (person, programme) = await app.ProgrammeAsync();
        var (status, _, problem) = await PutAsync(programme, TradeApp.Programme(person), "W/\"1\"");
        Assert.Equal(HttpStatusCode.Conflict, status);
        Assert.Contains($"POST /api/programmes/{programme}/revisions", (string?)problem["detail"], StringComparison.Ordinal);
    }
}
