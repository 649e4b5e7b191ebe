using System.Net;
using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Store;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.Measures;

public class MeasureTests(TradeApp app) : IClassFixture<TradeApp>
{
    private const string Pegs = """
        { "measure": "nine-hole-peg", "side": "right", "measuredAt": "2026-06-12T11:00:00+01:00", "trials": [48.2, 46.7], "unit": "s",
          "assessor": { "name": "Rowan Invented", "role": "physiotherapist" }, "note": "After a rest." }
        """;

    private async Task<JsonObject> BodyAsync(string body, params (string Path, string? Json)[] changes) =>
        TradeApp.With(TradeApp.With(body, ("person", $"\"{await app.PersonAsync()}\"")).ToJsonString(), changes);

    private async Task<Observation> StoredAsync(JsonNode posted)
    {
        var (observation, _) = (await app.Store.GetAsync<Observation>((string)posted["id"]!))!.Value;
        Assert.DoesNotContain(TestApp.SharedValidator.Validate(observation), i => i.Refuses);
        return observation;
    }

    [Fact]
    public async Task Trials_are_kept_and_their_mean_is_the_value()
    {
        var body = await BodyAsync(Pegs);
        var posted = await app.PostAsync("/api/measures", body);
        Assert.Equal(47.45m, (decimal?)posted["value"]);
        Assert.Equal("completed", (string?)posted["status"]);
        Assert.Equal(posted.ToJsonString(), (await app.GetAsync($"/api/measures/{(string?)posted["id"]}")).ToJsonString());
        Assert.Equal((string?)posted["id"], (string?)Assert.Single((await app.GetAsync($"/api/measures?person={(string?)body["person"]}&measure=nine-hole-peg")).AsArray())!["id"]);
        var observation = await StoredAsync(posted);
        Assert.Equal([48.2m, 46.7m], observation.Component.Select(c => ((Quantity)c.Value!).Value!.Value));
        Assert.Equal("exam", observation.Category[0].Coding[0].Code);
    }

    [Theory]
    [InlineData("kgf", 14.0)]
    [InlineData("[lbf_av]", 30.5)]
    [InlineData("N", 137)]
    public async Task Grip_is_kept_in_the_unit_it_was_measured_in(string unit, double value)
    {
        var posted = await app.PostAsync("/api/measures", await BodyAsync(Pegs, ("measure", "\"grip-strength\""), ("trials", null), ("unit", $"\"{unit}\""), ("value", $"{value}")));
        var quantity = (Quantity)(await StoredAsync(posted)).Value!;
        Assert.Equal((unit, (decimal)value), (quantity.Code, quantity.Value!.Value));
    }

    [Fact]
    public async Task A_test_stopped_at_its_limit_has_a_limit_and_pegs_but_no_value()
    {
        var posted = await app.PostAsync("/api/measures", await BodyAsync(Pegs,
            ("trials", null), ("status", "\"stopped-at-limit\""), ("timeLimitSeconds", "100"), ("pegsPlaced", "4")));
        Assert.Null(posted["value"]);
        var observation = await StoredAsync(posted);
        Assert.Null(observation.Value);
        Assert.Equal("stopped-at-limit", observation.DataAbsentReason!.Coding[0].Code);
        Assert.Equal(100, (decimal?)posted["timeLimitSeconds"]);
        Assert.Equal(4, (int?)posted["pegsPlaced"]);
    }

    [Fact]
    public async Task Unable_is_a_status_and_not_a_number()
    {
        var posted = await app.PostAsync("/api/measures", await BodyAsync(Pegs, ("trials", null), ("status", "\"unable\"")));
        Assert.Equal("unable", (await StoredAsync(posted)).DataAbsentReason!.Coding[0].Code);
    }

    [Fact]
    public async Task A_grade_is_kept_as_it_is_written()
    {
        var posted = await app.PostAsync("/api/measures", await BodyAsync(Pegs, ("measure", "\"modified-ashworth\""), ("trials", null), ("unit", null), ("site", "\"elbow-flexors\""), ("grade", "\"1+\"")));
        Assert.Equal("1+", (string?)posted["grade"]);
        Assert.Equal("1+", ((CodeableConcept)(await StoredAsync(posted)).Value!).Text);
    }

    [Fact]
    public async Task A_goal_attainment_level_names_the_goal_of_the_same_person()
    {
        var person = await app.PersonAsync();
        var programme = await app.PostAsync("/api/programmes", TradeApp.With(TradeApp.Programme(person).ToJsonString(), ("goals",
            """[{ "description": "x", "due": "2026-07-01", "levels": { "-2": "a", "-1": "b", "0": "c", "+1": "d", "+2": "e" } }]""")));
        var goal = (string)programme["goals"]![0]!["id"]!;
        var level = TradeApp.With(Pegs, ("person", $"\"{person}\""), ("measure", "\"gas-level\""), ("side", null), ("trials", null), ("unit", "\"{score}\""), ("value", "-1"), ("goal", $"\"{goal}\""));
        var observation = await StoredAsync(await app.PostAsync("/api/measures", level));
        Assert.Equal(-1, ((Integer)observation.Value!).Value);
        Assert.Equal($"Goal/{goal}", Assert.Single(observation.Focus).Reference);

        // The goal lists the level among its outcomes; what was achieved is for a clinician to say.
        var (stored, version) = (await app.Store.GetAsync<Goal>(goal))!.Value;
        Assert.Equal(($"Observation/{observation.Id}", 2), (Assert.Single(stored.OutcomeReference).Reference, version));
        Assert.Null(stored.AchievementStatus);
        Assert.DoesNotContain(TestApp.SharedValidator.Validate(stored), i => i.Refuses);

        var other = await app.PersonAsync();
        await app.RefusedAsync("/api/measures", TradeApp.With(level.ToJsonString(), ("person", $"\"{other}\"")).ToJsonString(), HttpStatusCode.UnprocessableEntity,
            "goal", "which is a goal of another person");
        await app.RefusedAsync("/api/measures", TradeApp.With(level.ToJsonString(), ("goal", null)).ToJsonString(), HttpStatusCode.UnprocessableEntity, "goal", "goal is missing");
        await app.RefusedAsync("/api/measures", TradeApp.With(level.ToJsonString(), ("value", "3")).ToJsonString(), HttpStatusCode.UnprocessableEntity, "value", "value is 3");
        await app.RefusedAsync("/api/measures", TradeApp.With(level.ToJsonString(), ("goal", "\"nothing\"")).ToJsonString(), HttpStatusCode.UnprocessableEntity, "goal", "there is no such goal");
    }

    [Theory]
    [InlineData("person", "\"nobody\"", "person names 'nobody', and there is no such person")]
    [InlineData("person", null, "person is missing")]
    [InlineData("measure", null, "measure is missing")]
    [InlineData("measure", "\"juggling\"", "measure is juggling; allowed: one of arat")]
    [InlineData("side", null, "side is missing; allowed: left or right")]
    [InlineData("side", "\"both\"", "side is 'both', which is not a side that can be tested; use one of: left, right")]
    [InlineData("measuredAt", null, "measuredAt is missing; give when it was measured")]
    [InlineData("measuredAt", "\"2027-06-12T11:00:00+01:00\"", "measuredAt is 2027-06-12T11:00:00+01:00, which is in the future (it is 2026-06-15T12:00:00Z)")]
    [InlineData("status", "\"failed\"", "status is 'failed', which is not what can become of a test; use one of: completed, stopped-at-limit, unable")]
    [InlineData("unit", "\"min\"", "unit is min; allowed: s")]
    [InlineData("unit", null, "unit is missing; say in which UCUM unit it was measured: s")]
    [InlineData("trials", "[0, 40]", "trials is 0; allowed: above 0")]
    [InlineData("trials", null, "value is missing; allowed: above 0")]
    [InlineData("value", "90", "value is 90, but the mean of the trials is 47.45; leave value out, or correct it or the trials")]
    [InlineData("pegsPlaced", "10", "pegsPlaced is 10; allowed: 0 to 9")]
    [InlineData("grade", "\"1+\"", "grade is 1+; allowed: no grade")]
    [InlineData("variant", "\"mine\"", "variant is mine; allowed:")]
    [InlineData("goal", "\"g1\"", "goal is 'g1', but nine-hole-peg is not a goal attainment level")]
    [InlineData("assessor.role", "\"patient\"", "assessor.role is 'patient', which is not a clinician's role")]
    [InlineData("note", "\" \"", "note is blank")]
    public async Task A_bad_field_is_named_with_value_range_and_remedy(string path, string? json, string message) => await app.RefusedAsync(
        "/api/measures", (await BodyAsync(Pegs, (path, json))).ToJsonString(), HttpStatusCode.UnprocessableEntity, message[..message.IndexOf(' ', StringComparison.Ordinal)], message);

    [Theory]
    [InlineData("box-and-block", "151", "{blocks}/min", "value", "value is 151; allowed: 0 or more, at most 150")]
    [InlineData("box-and-block", "12.5", "{blocks}/min", "value", "in steps of 1")]
    [InlineData("grip-strength", "14", "kg", "unit", "unit is kg; allowed: kgf or [lbf_av] or N")]
    [InlineData("arat", "58", "{score}", "value", "value is 58; allowed: 0 or more, at most 57")]
    public async Task Range_step_and_unit_are_those_of_the_measure(string measure, string value, string unit, string field, string message) => await app.RefusedAsync(
        "/api/measures", (await BodyAsync(Pegs, ("measure", $"\"{measure}\""), ("trials", null), ("value", value), ("unit", $"\"{unit}\""))).ToJsonString(),
        HttpStatusCode.UnprocessableEntity, field, message);

    [Fact]
    public async Task A_limit_is_never_taken_as_a_time() => await app.RefusedAsync(
        "/api/measures", (await BodyAsync(Pegs, ("trials", null), ("value", "100"), ("status", "\"stopped-at-limit\""), ("timeLimitSeconds", "100"))).ToJsonString(),
        HttpStatusCode.UnprocessableEntity, "value", "value is 100; allowed: none with status stopped-at-limit");
}
