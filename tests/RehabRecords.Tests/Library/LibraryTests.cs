using System.Net;
using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Store;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.Library;

public class LibraryTests(TradeApp app) : IClassFixture<TradeApp>
{
    private static string NewExercise(params (string Path, string? Json)[] changes) =>
        TradeApp.With(TradeApp.With(TradeApp.Exercise, ("code", $"\"exercise-{TradeApp.Next()}\"")).ToJsonString(), changes).ToJsonString();

    private static string NewTemplate(params (string Path, string? Json)[] changes) =>
        TradeApp.With(TradeApp.With(TradeApp.Template, ("code", $"\"template-{TradeApp.Next()}\"")).ToJsonString(), changes).ToJsonString();

    [Fact]
    public async Task An_exercise_is_read_back_by_id_and_by_code_and_version_as_it_was_posted()
    {
        var body = JsonNode.Parse(NewExercise())!;
        var posted = await app.PostAsync("/api/exercises", body);
        Assert.Equal($"{(string?)body["code"]}|1.0.0", (string?)posted["exercise"]);
        Assert.Equal(posted.ToJsonString(), (await app.GetAsync($"/api/exercises/{(string?)posted["id"]}")).ToJsonString());
        var found = await app.GetAsync($"/api/exercises/{Uri.EscapeDataString((string)posted["exercise"]!)}");
        foreach (var field in new[] { "title", "purpose", "instructions", "position", "equipment", "dosage", "handOrder", "helpLevel", "grading", "cautions", "successCriterion", "role" })
            Assert.Equal(body[field]!.ToJsonString(), WithoutNulls(found[field]!).ToJsonString());
    }

    [Fact]
    public async Task The_narrative_of_an_exercise_says_what_its_extensions_say()
    {
        var id = (string)(await app.PostAsync("/api/exercises", JsonNode.Parse(NewExercise())!))["id"]!;
        var (definition, _) = (await app.Store.GetAsync<ActivityDefinition>(id))!.Value;
        foreach (var words in new[]
        {
            "Do 3 sets of 10 repetitions, about 10 minutes in all.", "Hold each one for 2 seconds.", "Rest for 30 seconds between sets.", "Tempo: slow and smooth.",
            "Position: sitting at a table.", "Hands: the affected hand only.", "Help: with things set up by somebody.", "You need: ten coins (or ten buttons).",
            "It counts when: The coin stays on the stack.", "To make it harder (object): Use smaller coins.", "To make it easier (support): Rest the wrist.",
            "Take care (small objects, if children are about): Count the coins afterwards.", "Stop rule (shoulder pain): Stop if the shoulder hurts.",
        })
            Assert.Contains(words, definition.Text!.Div, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_version_that_exists_is_not_changed()
    {
        var body = NewExercise();
        await app.PostAsync("/api/exercises", JsonNode.Parse(body)!);
        await app.RefusedAsync("/api/exercises", body, HttpStatusCode.Conflict, "ActivityDefinition.identifier", "already held");
        var next = await app.PostAsync("/api/exercises", TradeApp.With(body, ("version", "\"1.1.0\"")));
        Assert.EndsWith("|1.1.0", (string?)next["exercise"], StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_template_is_read_back_with_its_levels_pinned_to_versions()
    {
        var body = JsonNode.Parse(NewTemplate())!;
        var posted = await app.PostAsync("/api/templates", body);
        Assert.Equal(posted.ToJsonString(), (await app.GetAsync($"/api/templates/{(string?)posted["id"]}")).ToJsonString());
        Assert.Equal("coin-stacking|1.0.0", (string?)posted["levels"]![1]!["exercises"]![0]!["exercise"]);
        Assert.Equal(12, (int?)posted["levels"]![1]!["exercises"]![0]!["dosage"]!["repetitions"]);
        var (definition, _) = (await app.Store.GetAsync<PlanDefinition>((string)posted["id"]!))!.Value;
        Assert.Equal("https://rehabrecords.example/fhir/ActivityDefinition/coin-stacking|1.0.0", ((Canonical)definition.Action[0].Action[1].Action[0].Definition!).Value);
        Assert.Equal(ActionSelectionBehavior.ExactlyOne, definition.Action[0].SelectionBehavior);
    }

    [Fact]
    public async Task A_template_put_in_through_fhir_without_a_code_is_listed_by_its_id()
    {
        var body = await File.ReadAllTextAsync(Path.Combine(Repository.Root, "examples", "PlanDefinition-table-top-hand-practice.json"));
        using var stored = await app.Http.PostAsync("/fhir/PlanDefinition", TestApp.Json(body, "application/fhir+json"));
        Assert.True(stored.IsSuccessStatusCode, await stored.Content.ReadAsStringAsync());
        var id = stored.Headers.Location!.ToString().Split("/PlanDefinition/")[1].Split('/')[0];
        Assert.Contains((await app.GetAsync("/api/templates")).AsArray(), t => (string?)t!["template"] == id);
    }

    [Fact]
    public async Task Lists_hold_what_was_added()
    {
        Assert.Contains((await app.GetAsync("/api/exercises")).AsArray(), e => (string?)e!["exercise"] == "coin-stacking|1.0.0");
        Assert.Contains((await app.GetAsync("/api/templates")).AsArray(), t => (string?)t!["template"] == "small-tasks|1.0.0");
    }

    [Theory]
    [InlineData("/api/exercises/no-such", "no exercise 'no-such'")]
    [InlineData("/api/exercises/no-such%7C1", "no exercise 'no-such|1'")]
    [InlineData("/api/templates/no-such", "no template 'no-such'")]
    public async Task What_is_not_in_the_library_is_not_found(string path, string message)
    {
        using var response = await app.Http.GetAsync(path);
        Assert.Equal(HttpStatusCode.NotFound, response.StatusCode);
        Assert.Contains(message, (string?)JsonNode.Parse(await response.Content.ReadAsStringAsync())!["detail"]);
    }

    [Theory]
    [InlineData("code", null, "code is missing; give the exercise's code")]
    [InlineData("code", "\"Coin Stacking\"", "code is 'Coin Stacking'; give 1 to 64 lower case letters, digits and single hyphens")]
    [InlineData("code", "\"a/b\"", "code is 'a/b'; give 1 to 64 lower case letters")]
    [InlineData("version", null, "version is missing; give the version, such as 1.0.0")]
    [InlineData("version", "\"v1\"", "version is 'v1'; give one to three numbers joined by dots")]
    [InlineData("title", null, "title is missing; give the title as the person reads it")]
    [InlineData("purpose", null, "purpose is missing; give what the exercise is for")]
    [InlineData("instructions", null, "instructions is missing; give how it is done")]
    [InlineData("position", null, "position is missing; give one of: sitting-at-table")]
    [InlineData("position", "\"kneeling\"", "position is 'kneeling', which is not a position; use one of: sitting-at-table, sitting-arm-supported, sitting, standing, lying")]
    [InlineData("dosage", null, "dosage is missing; give the usual dosage")]
    [InlineData("dosage", """{ "sets": 3 }""", "dosage says neither repetitions nor minutes; give at least one of them")]
    [InlineData("dosage", """{ "repetitions": 10 }""", "dosage.sets is missing; give the number of sets from 1 to 100")]
    [InlineData("dosage.sets", "0", "dosage.sets is 0; give a number of sets from 1 to 100")]
    [InlineData("dosage.repetitions", "10001", "dosage.repetitions is 10001; give a number of repetitions in each set from 1 to 10000")]
    [InlineData("dosage.holdSeconds", "3601", "dosage.holdSeconds is 3601; give seconds from 1 to 3600")]
    [InlineData("dosage.restSeconds", "0", "dosage.restSeconds is 0; give seconds from 1 to 3600")]
    [InlineData("dosage.minutes", "0.5", "dosage.minutes is 0.5; give minutes from 1 to 1440")]
    [InlineData("dosage.tempo", "\"\"", "dosage.tempo is blank; write a text of 1 to 200 characters or leave it out")]
    [InlineData("handOrder", "\"left-first\"", "handOrder is 'left-first', which is not an order of hands; use one of: affected-first")]
    [InlineData("helpLevel", "\"lots\"", "helpLevel is 'lots', which is not a level of help; use one of: independent, set-up, verbal-prompt, hands-on")]
    [InlineData("successCriterion", null, "successCriterion is missing; give when a repetition counts as a success")]
    [InlineData("role", "\"game\"", "role is 'game', which is not a role; use one of: warm-up, task")]
    [InlineData("equipment[0].item", null, "equipment[0].item is missing; give the thing needed")]
    [InlineData("grading[0].direction", "\"up\"", "grading[0].direction is 'up', which is not a direction; use one of: easier, harder")]
    [InlineData("grading[1].dimension", "\"weight\"", "grading[1].dimension is 'weight', which is not a dimension of grading; use one of: speed, vision")]
    [InlineData("grading[0].text", null, "grading[0].text is missing; give what to change")]
    [InlineData("cautions[1].code", "\"hot\"", "cautions[1].code is 'hot', which is not a caution; use one of: reduced-sensation, warm-water")]
    [InlineData("cautions[0].text", null, "cautions[0].text is missing; give what to do")]
    public Task A_bad_field_of_an_exercise_is_named(string path, string? json, string message) =>
        app.RefusedAsync("/api/exercises", NewExercise((path, json)), HttpStatusCode.UnprocessableEntity, Field(message), message);

    [Theory]
    [InlineData("description", null, "description is missing")]
    [InlineData("levels", "[]", "levels is missing; give one to 20 levels")]
    [InlineData("levels[0].level", "2", "levels are numbered 2, 2; number them 1 to 2 in order, because no level may be skipped", "levels")]
    [InlineData("levels[0].level", "21", "levels[0].level is 21; give a level from 1 to 20")]
    [InlineData("levels[1].title", null, "levels[1].title is missing")]
    [InlineData("levels[1].exercises", "[]", "levels[1].exercises is missing; give at least one exercise")]
    [InlineData("levels[1].exercises[0].exercise", "\"coin-stacking\"", "levels[1].exercises[0].exercise is 'coin-stacking'; give code and version joined by '|'")]
    [InlineData("levels[1].exercises[0].exercise", "\"juggling|1.0.0\"", "levels[1].exercises[0].exercise names 'juggling|1.0.0', and there is no such exercise")]
    [InlineData("levels[1].exercises[1].exercise", "\"coin-stacking|1.0.0\"", "levels[1].exercises has the exercise 'coin-stacking|1.0.0' 2 times; list it once")]
    [InlineData("levels[1].exercises[0].dosage.repetitions", "0", "levels[1].exercises[0].dosage.repetitions is 0; give a number of repetitions")]
    public Task A_bad_field_of_a_template_is_named(string path, string? json, string message, string? field = null) =>
        app.RefusedAsync("/api/templates", NewTemplate((path, json)), HttpStatusCode.UnprocessableEntity, field ?? Field(message), message);

    private static JsonNode WithoutNulls(JsonNode node)
    {
        foreach (var (name, value) in node is JsonObject members ? members.ToList() : [])
            if (value is null)
                node.AsObject().Remove(name);
            else
                WithoutNulls(value);
        foreach (var item in node is JsonArray items ? items.OfType<JsonNode>() : [])
            WithoutNulls(item);
        return node;
    }

    /// <summary>Every message begins with the field.</summary>
    private static string Field(string message) => message[..message.IndexOf(' ', StringComparison.Ordinal)];
}
