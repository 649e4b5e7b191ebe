using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Store;
using RehabRecords.Terms;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.Programmes;

public class CautionTests(TradeApp app) : IClassFixture<TradeApp>
{
    private const string Closing = "Follow local policy. If in doubt stop and contact the clinician. The decision rests with the registered clinician.";

    /// <summary>One exercise with the cautions named, for a person with the precautions named.</summary>
    private async Task<(string Person, JsonNode Programme)> PrescribedAsync(string[] cautions, string[] precautions, string position = "sitting-at-table")
    {
        var code = $"cautious-{TradeApp.Next()}";
        var tags = string.Join(", ", cautions.Select(c => $$"""{ "code": "{{c}}", "text": "The clinic's own words.", "stop": false }"""));
        await app.PostAsync("/api/exercises", TradeApp.With(TradeApp.Exercise, ("code", $"\"{code}\""), ("title", "\"Washing up\""), ("cautions", $"[{tags}]"), ("position", $"\"{position}\"")));
        var person = (string)(await app.PostAsync("/api/people", TradeApp.With(TradeApp.Person,
            ("precautions", $"[{string.Join(", ", precautions.Select(p => $$"""{ "code": "{{p}}" }"""))}]"))))["id"]!;
        return (person, await app.PostAsync("/api/programmes", TradeApp.With(TradeApp.Programme(person).ToJsonString(),
            ("exercises", $$"""[{ "exercise": "{{code}}|1.0.0", "side": "right" }]"""))));
    }

    private static IEnumerable<JsonNode> Applied(JsonNode programme) => programme["exercises"]![0]!["cautions"]!.AsArray().Where(c => c!["reason"] is not null).Select(c => c!);

    [Theory]
    [InlineData("sharp-objects", "neglect", true, "recorded for the person: neglect of one side")]
    [InlineData("sharp-objects", "falls-risk", false, "")]
    [InlineData("reduced-sensation", "reduced-sensation", true, "recorded for the person: reduced sensation")]
    [InlineData("shoulder-pain", "spasticity", false, "")]
    [InlineData("fatigue", "neglect", true, "holds for everybody")]
    [InlineData("small-objects", null, true, "no precautions are recorded for the person, so it cannot be ruled out")]
    public async Task A_caution_applies_by_exercise_and_precaution_and_says_why(string caution, string? precaution, bool applies, string reason)
    {
        var (_, programme) = await PrescribedAsync([caution], precaution is null ? [] : [precaution]);
        if (!applies)
        {
            Assert.Empty(Applied(programme));
            return;
        }

        var told = Assert.Single(Applied(programme));
        Assert.Equal((caution, reason), ((string?)told["code"], (string?)told["reason"]));
        Assert.Matches(@"(^|\()(published|common practice, no source|secondary source)", (string)told["source"]!);
    }

    [Fact]
    public async Task The_person_at_home_and_the_receiver_are_told()
    {
        var (_, programme) = await PrescribedAsync(["reduced-sensation", "swelling"], ["reduced-sensation", "swelling"]);
        var words = (string)programme["exercises"]![0]!["patientInstruction"]!;
        Assert.Contains("Take care (reduced sensation; recorded for you: reduced sensation): Look at the skin often", words, StringComparison.Ordinal);
        Assert.Contains("Stop rule (swelling; recorded for you: swelling): New or worse swelling", words, StringComparison.Ordinal);
        Assert.Contains("Take care (swelling): The clinic's own words.", words, StringComparison.Ordinal);
        Assert.Contains(Closing, words, StringComparison.Ordinal);
        Assert.DoesNotContain("leaflet", words, StringComparison.Ordinal);
        Assert.Contains(Closing, (string)programme["cautionsNote"]!, StringComparison.Ordinal);
        Assert.Empty(programme["temperatures"]!.AsArray());

        var request = Assert.Single(await app.Store.FindAllAsync<ServiceRequest>($"based-on=CarePlan/{(string?)programme["id"]}"));
        Assert.DoesNotContain(TestApp.SharedValidator.Validate(request), i => i.Refuses);
        var stored = request.GetExtensions(Extensions.Caution).Where(e => e.GetExtension("reason") is not null).ToList();
        Assert.Equal(["reduced-sensation", "swelling"], stored.Select(e => e.GetExtensionValue<CodeableConcept>("precaution").CodeIn(Systems.Precaution)));
        Assert.Contains("Source: Cambridge University Hospitals leaflet; early supported discharge training (published).", request.Text!.Div, StringComparison.Ordinal);
        Assert.Equal(programme.ToJsonString(), (await app.GetAsync($"/api/programmes/{(string?)programme["id"]}")).ToJsonString());
    }

    [Fact]
    public async Task Warm_water_brings_its_limits_of_temperature_with_their_sources()
    {
        var (_, programme) = await PrescribedAsync(["warm-water"], ["spasticity"]);
        var limits = Assert.Single(Applied(programme));
        Assert.Equal("holds for everybody", (string?)limits["reason"]);
        Assert.Contains("Warm-water task of the hand: at most 41 °C; Hot surfaces: at most 43 °C; Whole-body immersion of vulnerable people: at most 44 °C; or the lower local limit.", (string)limits["text"]!, StringComparison.Ordinal);
        Assert.Contains("Hot surfaces: HSE web page and information sheet HSIS6 (published)", (string)limits["source"]!, StringComparison.Ordinal);
        Assert.Contains("at most 41 °C", (string)programme["exercises"]![0]!["patientInstruction"]!, StringComparison.Ordinal);
        var washbasin = programme["temperatures"]!.AsArray().Single(t => (string?)t!["id"] == "washbasin")!;
        Assert.Equal((41m, "secondary source", "quoted on a forum"), ((decimal)washbasin["celsius"]!, (string?)washbasin["source"]!["mark"], (string?)washbasin["source"]!["note"]));

        var (_, insensate) = await PrescribedAsync(["warm-water"], ["reduced-sensation"]);
        Assert.Equal(2, Applied(insensate).Count());
        Assert.Contains("Check the water with the unaffected hand first", (string)insensate["exercises"]![0]!["patientInstruction"]!, StringComparison.Ordinal);
    }

    [Fact]
    public async Task An_exercise_done_standing_carries_that_caution_by_its_position()
    {
        var (_, programme) = await PrescribedAsync(["general"], ["falls-risk"], "standing");
        Assert.Equal(["standing", "general"], Applied(programme).Select(c => (string?)c["code"]));
    }

    [Fact]
    public async Task A_precaution_recorded_later_is_stated_in_the_plan_of_the_draft()
    {
        var (person, programme) = await PrescribedAsync(["reduced-sensation", "spasticity"], ["spasticity"]);
        async Task<IReadOnlyList<JsonNode>> NewlyAsync() => [.. (await app.PostAsync("/api/notes", new JsonObject { ["programme"] = (string?)programme["id"] }))["statements"]!.AsArray()
            .Where(s => (string?)s!["rule"] == "caution-newly-applies").Select(s => s!)];
        Assert.Empty(await NewlyAsync());

        var flag = $$"""
            { "resourceType": "Flag", "status": "active", "subject": { "reference": "Patient/{{person}}" }, "period": { "start": "2026-06-12" },
              "category": [{ "coding": [{ "system": "https://rehabrecords.example/fhir/CodeSystem/flag-category", "code": "precaution" }] }],
              "code": { "coding": [{ "system": "https://rehabrecords.example/fhir/CodeSystem/precaution", "code": "reduced-sensation" }] } }
            """;
        using var made = await app.Http.PostAsync("/fhir/Flag", TestApp.Json(flag, "application/fhir+json"));
        Assert.Equal(System.Net.HttpStatusCode.Created, made.StatusCode);
        var id = (string)JsonNode.Parse(await made.Content.ReadAsStringAsync())!["id"]!;
        var statement = Assert.Single(await NewlyAsync());
        Assert.Equal(("plan", "caution"), (((string)statement["section"]!).ToLowerInvariant(), (string?)statement["kind"]));
        Assert.Contains("Reduced sensation now applies to Washing up (right hand): reduced sensation (since 12 June 2026) is recorded for the person, and the prescription does not say so yet. Look at the skin often",
            (string)statement["text"]!, StringComparison.Ordinal);
        Assert.Contains(Closing, (string)statement["text"]!, StringComparison.Ordinal);
        var evidence = statement["evidence"]!.AsArray().Select(e => (string?)e).ToList();
        Assert.Contains($"Flag/{id}/_history/1", evidence);
        Assert.Contains($"ServiceRequest/{(string?)programme["exercises"]![0]!["id"]}/_history/1", evidence);
    }
}
