using System.Net;
using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Store;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.Programmes;

/// <summary>The bands are those of Hoonhorst 2015 (published); the tables give scores on either side of their boundaries.</summary>
public class StartingLevelTests(TradeApp app) : IClassFixture<TradeApp>
{
    private static async Task<string> TemplateAsync(TradeApp app)
    {
        var code = $"banded-{TradeApp.Next()}";
        await app.PostAsync("/api/templates", TradeApp.With(TradeApp.Template, ("code", $"\"{code}\""),
            ("levels[0].capacityBands", """["poor", "limited"]"""), ("levels[1].capacityBands", """["limited", "notable"]""")));
        return $"{code}|1.0.0";
    }

    private Task<JsonNode> MeasureAsync(string person, string measure, decimal? value, string day = "2026-06-01", string side = "right", string status = "completed") =>
        app.PostAsync("/api/measures", TradeApp.With($$"""{ "measure": "{{measure}}", "side": "{{side}}", "measuredAt": "{{day}}T10:00:00+01:00", "status": "{{status}}", "unit": "{score}" }""",
            ("person", $"\"{person}\""), ("value", value?.ToString(System.Globalization.CultureInfo.InvariantCulture))));

    private Task<JsonNode> ProposedAsync(string person, string template, string more = "") =>
        app.GetAsync($"/api/people/{person}/starting-level?template={Uri.EscapeDataString(template)}{more}");

    private static JsonObject Programme(string person, string template, params (string Path, string? Json)[] changes) =>
        TradeApp.With(TradeApp.Programme(person).ToJsonString(), [("template", $"\"{template}\""), .. changes]);

    [Fact]
    public async Task A_template_keeps_the_bands_of_its_levels()
    {
        var template = await TemplateAsync(app);
        var read = await app.GetAsync($"/api/templates/{Uri.EscapeDataString(template)}");
        Assert.Equal(["limited", "notable"], read["levels"]![1]!["capacityBands"]!.AsArray().Select(b => (string?)b));
        var (definition, _) = (await app.Store.GetAsync<PlanDefinition>((string)read["id"]!))!.Value;
        Assert.DoesNotContain(TestApp.SharedValidator.Validate(definition), i => i.Refuses);
        Assert.Contains("Written for: poor capacity, limited capacity.", definition.Text!.Div, StringComparison.Ordinal);
    }

    [Theory]
    [InlineData("arat", 10, null, "no-capacity", "below the first band the template is written for")]
    [InlineData("arat", 11, 1, "poor", "first score of the band")]
    [InlineData("arat", 42, 1, "limited", "two levels are written for it; the lower one is proposed")]
    [InlineData("arat", 43, 2, "notable", "first score of the band")]
    [InlineData("arat", 55, null, "full", "above the last band")]
    [InlineData("fugl-meyer-upper-extremity", 47, 1, "limited", "predicted")]
    [InlineData("fugl-meyer-upper-extremity", 48, 2, "notable", "predicted")]
    public async Task The_latest_result_proposes_a_level(string measure, int score, int? level, string band, string why)
    {
        var (person, template) = (await app.PersonAsync(), await TemplateAsync(app));
        var result = await MeasureAsync(person, measure, score);
        var proposed = await ProposedAsync(person, template);
        Assert.True(level == (int?)proposed["proposedLevel"], why);
        Assert.Equal(band, (string?)proposed["band"]);
        Assert.Equal("right", (string?)proposed["side"]);
        Assert.Equal(measure != "arat", (bool?)proposed["predicted"]);
        Assert.Equal(measure != "arat", ((string)proposed["text"]!).Contains("a prediction", StringComparison.Ordinal));
        Assert.Equal($"Observation/{(string?)result["id"]}/_history/1", (string?)proposed["measure"]!["address"]);
        Assert.Equal("published", (string?)proposed["source"]!["mark"]);
        Assert.Contains("Hoonhorst", (string)proposed["source"]!["citation"]!, StringComparison.Ordinal);
        Assert.Contains("registered clinician chooses", (string)proposed["decision"]!, StringComparison.Ordinal);
    }

    [Fact]
    public async Task The_later_result_of_the_affected_arm_is_used()
    {
        var (person, template) = (await app.PersonAsync(), await TemplateAsync(app));
        await MeasureAsync(person, "arat", 50);
        await MeasureAsync(person, "arat", 5, "2026-06-03", side: "left");
        await MeasureAsync(person, "fugl-meyer-upper-extremity", 30, "2026-06-02");
        var proposed = await ProposedAsync(person, template);
        Assert.Equal(("fugl-meyer-upper-extremity", 1), ((string?)proposed["measure"]!["measure"], (int?)proposed["proposedLevel"]));
        Assert.Equal("no-capacity", (string?)(await ProposedAsync(person, template, "&side=left"))["band"]);

        await MeasureAsync(person, "arat", 45, "2026-06-02");
        Assert.Equal("arat", (string?)(await ProposedAsync(person, template))["measure"]!["measure"]);
        await MeasureAsync(person, "arat", null, "2026-06-05", status: "refused");
        Assert.Contains("A later result without a score (refused, 5 June 2026) was not used", (string)(await ProposedAsync(person, template))["text"]!, StringComparison.Ordinal);
    }

    [Fact]
    public async Task Without_result_or_side_nothing_is_proposed_and_the_reason_is_told()
    {
        var template = await TemplateAsync(app);
        var none = await ProposedAsync(await app.PersonAsync(), template);
        Assert.Null(none["proposedLevel"]);
        Assert.Contains("No completed result of the Action Research Arm Test or the Fugl-Meyer upper extremity score is recorded for the right arm", (string)none["text"]!, StringComparison.Ordinal);
        var both = (string)(await app.PostAsync("/api/people", TradeApp.With(TradeApp.Person, ("affectedSide", "\"both\""))))["id"]!;
        Assert.Contains("No one affected side is recorded", (string)(await ProposedAsync(both, template))["text"]!, StringComparison.Ordinal);
    }

    [Theory]
    [InlineData("nobody", "template=x|1", HttpStatusCode.NotFound, "There is no person 'nobody'")]
    [InlineData(null, "", HttpStatusCode.UnprocessableEntity, "template is missing; give code|version")]
    [InlineData(null, "template=other|1", HttpStatusCode.UnprocessableEntity, "template names 'other|1', and there is no such template")]
    [InlineData(null, "template=small-tasks|1.0.0&side=both", HttpStatusCode.UnprocessableEntity, "side is 'both', which is not an arm; give left or right")]
    public async Task A_proposal_that_cannot_be_made_says_why(string? person, string query, HttpStatusCode status, string says)
    {
        using var response = await app.Http.GetAsync($"/api/people/{person ?? await app.PersonAsync()}/starting-level?{query.Replace("|", "%7C", StringComparison.Ordinal)}");
        Assert.Equal(status, response.StatusCode);
        Assert.Contains(says, (string)JsonNode.Parse(await response.Content.ReadAsStringAsync())!["errors"]![0]!["message"]!, StringComparison.Ordinal);
    }

    [Fact]
    public async Task The_level_proposed_needs_no_words_and_both_are_kept()
    {
        var (person, template) = (await app.PersonAsync(), await TemplateAsync(app));
        var result = await MeasureAsync(person, "arat", 50);
        var posted = await app.PostAsync("/api/programmes", Programme(person, template, ("levelReason", null)));
        Assert.Equal("notable capacity, by an Action Research Arm Test score of 50: level 2 (Hoonhorst MH 2015 Arch Phys Med Rehabil 96:1845-1849)", (string?)posted["levelReason"]);
        Assert.Equal((2, "notable", false), ((int?)posted["levelProposal"]!["level"], (string?)posted["levelProposal"]!["band"], (bool?)posted["levelProposal"]!["predicted"]));
        Assert.Equal($"Observation/{(string?)result["id"]}/_history/1", (string?)posted["levelProposal"]!["evidence"]);
        Assert.Equal(posted.ToJsonString(), (await app.GetAsync($"/api/programmes/{(string?)posted["id"]}")).ToJsonString());
    }

    [Fact]
    public async Task Another_level_is_kept_with_proposal_and_reason()
    {
        var (person, template) = (await app.PersonAsync(), await TemplateAsync(app));
        await MeasureAsync(person, "fugl-meyer-upper-extremity", 30);
        var posted = await app.PostAsync("/api/programmes", Programme(person, template, ("levelReason", "\"Manages pinch well in the clinic.\"")));
        Assert.Equal((2, 1, true), ((int?)posted["level"], (int?)posted["levelProposal"]!["level"], (bool?)posted["levelProposal"]!["predicted"]));
        var (plan, _) = (await app.Store.GetAsync<CarePlan>((string)posted["id"]!))!.Value;
        Assert.DoesNotContain(TestApp.SharedValidator.Validate(plan), i => i.Refuses);
        Assert.Contains("Level 2, because: Manages pinch well in the clinic.", plan.Text!.Div, StringComparison.Ordinal);
        Assert.Contains("Level 1 is proposed: poor capacity, predicted from a Fugl-Meyer upper extremity score of 30 for the right arm on 1 June 2026; a prediction", plan.Text.Div, StringComparison.Ordinal);
    }

    [Theory]
    [InlineData(50, 1, "levelReason is missing; give why level 1 was chosen instead of the one proposed", "Level 2 is proposed: notable capacity")]
    [InlineData(5, 1, "levelReason is missing; give why this level (1) was chosen.", "none of the template is written for this band: no capacity")]
    [InlineData(null, 2, "levelReason is missing; give why this level (2) was chosen.", "No level is proposed. No completed result")]
    public async Task A_level_that_is_not_the_proposed_one_needs_a_reason(int? score, int level, string asks, string because)
    {
        var (person, template) = (await app.PersonAsync(), await TemplateAsync(app));
        if (score is { } value)
            await MeasureAsync(person, "arat", value);
        await app.RefusedAsync("/api/programmes", Programme(person, template, ("level", $"{level}"), ("levelReason", null)).ToJsonString(),
            HttpStatusCode.UnprocessableEntity, "levelReason", asks, because);
    }

    [Theory]
    [InlineData("""["some"]""", "levels[0].capacityBands[0]", "levels[0].capacityBands[0] is 'some', which is not a capacity band; use one of: no-capacity, poor, limited, notable, full")]
    [InlineData("""["poor", "poor"]""", "levels[0].capacityBands", "levels[0].capacityBands has the capacity band 'poor' 2 times; list it once")]
    public async Task A_band_that_is_not_one_is_refused(string bands, string field, string says) => await app.RefusedAsync(
        "/api/templates", TradeApp.With(TradeApp.Template, ("code", "\"bad-bands\""), ("levels[0].capacityBands", bands)).ToJsonString(), HttpStatusCode.UnprocessableEntity, field, says);
}
