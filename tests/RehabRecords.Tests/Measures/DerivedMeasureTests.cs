using System.Net;
using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Store;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.Measures;

/// <summary>Results that are made from what was observed: a total from its subscales or items, a speed from distance and time.</summary>
public class DerivedMeasureTests(TradeApp app) : IClassFixture<TradeApp>
{
    private const string Arat = """{ "measure": "arat", "side": "right", "measuredAt": "2026-06-12T11:00:00+01:00", "subscales": { "grasp": 12, "grip": 8, "pinch": 5, "gross": 6 } }""";
    private const string Items = """{ "grasp": [3], "grip": [1, 0], "pinch": [2, 3, 2, 1, 0, 0], "gross": [2, 2, 2] }""";
    private const string Walk = """{ "measure": "ten-metre-walk", "measuredAt": "2026-06-12T11:00:00+01:00", "distanceMetres": 10, "seconds": 12, "variant": "fast" }""";

    private async Task<JsonObject> BodyAsync(string body, params (string Path, string? Json)[] changes) =>
        TradeApp.With(TradeApp.With(body, ("person", $"\"{await app.PersonAsync()}\"")).ToJsonString(), changes);

    private async Task<Observation> StoredAsync(string id)
    {
        var (observation, _) = (await app.Store.GetAsync<Observation>(id))!.Value;
        Assert.DoesNotContain(TestApp.SharedValidator.Validate(observation), i => i.Refuses);
        return observation;
    }

    private async Task<Dictionary<string, JsonNode>> PartsAsync(JsonNode total)
    {
        var parts = new Dictionary<string, JsonNode>();
        foreach (var reference in total["derivedFrom"]!.AsArray())
        {
            var id = ((string)reference!)["Observation/".Length..];
            await StoredAsync(id);
            var part = await app.GetAsync($"/api/measures/{id}");
            parts[(string)part["measure"]!] = part;
        }

        return parts;
    }

    [Fact]
    public async Task Four_subscale_totals_give_the_total_and_are_recorded_beside_it()
    {
        var total = await app.PostAsync("/api/measures", await BodyAsync(Arat));
        Assert.Equal(31, (decimal?)total["value"]);
        await StoredAsync((string)total["id"]!);
        var parts = await PartsAsync(total);
        Assert.Equal(new Dictionary<string, decimal> { ["arat-grasp"] = 12, ["arat-grip"] = 8, ["arat-pinch"] = 5, ["arat-gross"] = 6 }, parts.ToDictionary(p => p.Key, p => (decimal)p.Value["value"]!));
        Assert.All(parts.Values, p => Assert.Equal(("right", "2026-06-12T11:00:00+01:00"), ((string?)p["side"], (string?)p["measuredAt"])));
    }

    [Fact]
    public async Task Item_scores_follow_the_decision_rules_and_credited_items_are_not_written_as_tested()
    {
        var total = await app.PostAsync("/api/measures", await BodyAsync(Arat, ("subscales", null), ("items", Items)));
        // Grasp: item 1 at 3 credits all (18). Grip: item 2 at 0 credits nothing more (1). Pinch 8, gross 6 as summed.
        Assert.Equal(18 + 1 + 8 + 6, (decimal?)total["value"]);
        var parts = await PartsAsync(total);
        Assert.Equal("[3]", parts["arat-grasp"]["items"]!.ToJsonString());
        Assert.Equal("[1,0]", parts["arat-grip"]["items"]!.ToJsonString());
        Assert.Contains("check both", (string?)parts["arat-grip"]["note"]);
        Assert.Null(parts["arat-pinch"]["note"]);
    }

    [Theory]
    [InlineData("subscales.grip", "13", "subscales.grip", "subscales.grip is 13; allowed: 0 to 12")]
    [InlineData("subscales.gross", null, "subscales.gross", "subscales.gross is missing; the total needs all four subscales")]
    [InlineData("value", "30", "value", "value is 30, but the total of the subscales is 31; leave value out, or correct it or the subscales")]
    [InlineData("items", Items, "items", "items is given beside subscales")]
    [InlineData("status", "\"unable\"", "subscales", "only a completed test has scores")]
    [InlineData("measure", "\"fugl-meyer-upper-extremity\"", "subscales", "it belongs to arat")]
    [InlineData("variant", "\"my-own\"", "variant", "allowed: one of decision-rules, all-items")]
    public async Task A_total_that_does_not_fit_its_subscales_is_refused(string path, string? json, string field, string message) =>
        await app.RefusedAsync("/api/measures", (await BodyAsync(Arat, (path, json))).ToJsonString(), HttpStatusCode.UnprocessableEntity, field, message);

    [Theory]
    [InlineData("items.pinch[3]", "4", "items.pinch[3]", "items.pinch[3] is 4; allowed: 0 to 3")]
    [InlineData("items.gross", "[2, 2]", "items.gross[2]", "Test this item: the decision rules do not credit it")]
    [InlineData("items.gross", "[2, 2, 2, 2]", "items.gross", "allowed: at most 3")]
    [InlineData("items.grip", "[]", "items.grip[0]", "Test item 1 first")]
    [InlineData("variant", "\"all-items\"", "items.grasp", "items.grasp is 1 items; allowed: all 6 with the variant all-items")]
    public async Task Item_scores_that_the_decision_rules_do_not_cover_are_refused(string path, string json, string field, string message) => await app.RefusedAsync(
        "/api/measures", TradeApp.With((await BodyAsync(Arat, ("subscales", null), ("items", Items))).ToJsonString(), (path, json)).ToJsonString(),
        HttpStatusCode.UnprocessableEntity, field, message);

    [Fact]
    public async Task Distance_and_time_give_a_speed_and_are_kept()
    {
        var posted = await app.PostAsync("/api/measures", await BodyAsync(Walk));
        Assert.Equal((0.8333m, "m/s", 10m, 12m, "fast"),
            ((decimal)posted["value"]!, (string)posted["unit"]!, (decimal)posted["distanceMetres"]!, (decimal)posted["seconds"]!, (string)posted["variant"]!));
        await StoredAsync((string)posted["id"]!);
    }

    [Theory]
    [InlineData("seconds", "0", "seconds", "Unable to walk is a status")]
    [InlineData("seconds", null, "seconds", "a speed needs the distance that was timed and the time")]
    [InlineData("distanceMetres", null, "seconds", "distanceMetres is missing")]
    [InlineData("distanceMetres", "100", "distanceMetres", "at most 20")]
    [InlineData("seconds", "2", "value", "at most 4")]
    [InlineData("value", "1.2", "value", "value is 1.2, but distance over time is 0.8333")]
    [InlineData("measure", "\"timed-up-and-go\"", "seconds", "it belongs to ten-metre-walk")]
    [InlineData("variant", "\"slow\"", "variant", "allowed: one of comfortable, fast")]
    [InlineData("status", "\"unable\"", "distanceMetres", "only a completed test")]
    public async Task A_walk_that_gives_no_speed_is_refused(string path, string? json, string field, string message) =>
        await app.RefusedAsync("/api/measures", (await BodyAsync(Walk, (path, json))).ToJsonString(), HttpStatusCode.UnprocessableEntity, field, message);

    [Fact]
    public async Task The_median_of_the_tasks_is_the_Wolf_time_and_the_mean_of_trials_the_grip()
    {
        var wolf = await app.PostAsync("/api/measures", await BodyAsync("""{ "measure": "wolf-time", "side": "right", "unit": "s", "measuredAt": "2026-06-12T11:00:00+01:00", "trials": [2, 90, 3, 4, 100] }"""));
        Assert.Equal(4, (decimal?)wolf["value"]);
        var grip = await app.PostAsync("/api/measures", await BodyAsync("""{ "measure": "grip-strength", "side": "right", "unit": "N", "measuredAt": "2026-06-12T11:00:00+01:00", "trials": [100, 110, 120] }"""));
        Assert.Equal((110, "N"), ((decimal)grip["value"]!, (string)grip["unit"]!));
    }

    [Theory]
    [InlineData("modified-ashworth", null, "site is missing")]
    [InlineData("modified-ashworth", "\"left eyebrow\"", "site is 'left eyebrow', which is not a muscle group or movement of the list")]
    [InlineData("box-and-block", "\"elbow-flexors\"", "is not taken of single muscle groups")]
    public async Task A_grade_names_its_muscle_group_and_nothing_else_has_one(string measure, string? site, string message)
    {
        var body = await BodyAsync("""{ "side": "left", "measuredAt": "2026-06-12T11:00:00+01:00", "grade": "1+" }""", ("measure", $"\"{measure}\""), ("site", site));
        if (measure == "box-and-block")
            body = TradeApp.With(body.ToJsonString(), ("grade", null), ("value", "20"), ("unit", "\"{blocks}/min\""));
        await app.RefusedAsync("/api/measures", body.ToJsonString(), HttpStatusCode.UnprocessableEntity, "site", message);
    }
}
