using System.Net;
using System.Text.Json.Nodes;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.Discharges;

public class DischargeRefusalTests(TradeApp app) : IClassFixture<TradeApp>
{
    [Theory]
    [InlineData("person", "\"nobody\"", "person", "person names 'nobody', and there is no such person")]
    [InlineData("reason", null, "reason", "reason is missing; give why the person is discharged")]
    [InlineData("destination", "\" \"", "destination", "destination is missing; give where to, or into whose care")]
    [InlineData("distribution", "[]", "distribution", "distribution is missing; give at least one who gets the summary")]
    [InlineData("distribution[0].role", null, "distribution[0].role", "role is missing; give the role, such as GP")]
    [InlineData("actions[0].owner", null, "actions[0].owner", "owner is missing; give who does it")]
    [InlineData("actions[0].due", "\"2026-06-01\"", "actions[0].due", "is 2026-06-01, before dischargedOn (2026-06-15)")]
    [InlineData("reviewDate", "\"2026-06-01\"", "reviewDate", "reviewDate is 2026-06-01, before dischargedOn (2026-06-15)")]
    [InlineData("dischargedOn", "\"2026-06-16\"", "dischargedOn", "which is still to come (it is 2026-06-15 in Europe/London)")]
    [InlineData("dischargedOn", "\"2026-06-09\"", "dischargedOn", "and a session of 2026-06-10 is recorded; give a day from then on")]
    [InlineData("dischargedOn", "\"2026-05-09\"", "dischargedOn", "before the latest programme starts (2026-06-01)")]
    [InlineData("equipment", "[\"\"]", "equipment[0]", "name the equipment in 1 to 200")]
    [InlineData("carerTraining[0].trained", null, "carerTraining[0].trained", "trained is missing; give who was trained")]
    [InlineData("overrides", """[{ "blocker": "Task/x", "reason": "ok" }]""", "overrides[0].reason", "say in at least 10 why it may stay open")]
    [InlineData("overrides", """[{ "blocker": "Task/x", "reason": "Settled by telephone." }]""", "overrides[0].blocker", "which does not stand in the way; name one of: Composition/")]
    [InlineData("author", null, "author", "author is missing; give the clinician who discharges")]
    [InlineData("author.role", "\"carer\"", "author.role", "which is not a clinician's role")]
    public async Task A_form_that_cannot_stand_is_refused_and_nothing_is_stored(string path, string? json, string field, string says)
    {
        var of = await app.CourseAsync();
        await app.RefusedAsync("/api/discharges", DischargeBodies.Discharge(of.Person, (path, json)).ToJsonString(), HttpStatusCode.UnprocessableEntity, field, says);
    }

    [Fact]
    public async Task Nobody_is_discharged_who_has_no_programme()
    {
        var person = await app.PersonAsync();
        await app.RefusedAsync("/api/discharges", DischargeBodies.Discharge(person).ToJsonString(), HttpStatusCode.UnprocessableEntity, "person",
            "who has no programme to be discharged from since the last discharge; prescribe and hand over one first");
    }

    [Fact]
    public async Task What_is_unfinished_stands_in_the_way_each_with_its_address_and_remedy()
    {
        var of = await app.CourseAsync();
        var task = (string)(await app.CreateAsync("Task", JsonNode.Parse($$"""
            { "resourceType": "Task", "status": "requested", "intent": "order", "description": "Order a splint.", "for": { "reference": "Patient/{{of.Person}}" }, "owner": { "display": "Orthotics" } }
            """)!))["id"]!;
        var draft = (string)(await app.PostAsync("/api/programmes", TradeApp.With(TradeApp.Programme(of.Person).ToJsonString(), ("status", "\"draft\""))))["id"]!;
        var late = TradeApp.Session((of.Person, of.Programme), ("doneAt", "\"2026-06-11T10:00:00+01:00\""), ("redFlags", "[\"dizziness\"]"));
        var flag = (string)(await app.PostAsync("/api/sessions", late))["flags"]![0]!["id"]!;

        var body = DischargeBodies.Discharge(of.Person).ToJsonString();
        await app.RefusedAsync("/api/discharges", body, HttpStatusCode.Conflict, $"Flag/{flag}", "red flag “", $"POST /api/flags/{flag}/clearance", "It cannot be overridden.");
        await app.RefusedAsync("/api/discharges", body, HttpStatusCode.Conflict, $"Composition/{of.Note}", "not signed; read it and sign it", "or leave it open with a reason");
        await app.RefusedAsync("/api/discharges", body, HttpStatusCode.Conflict, $"Task/{task}", "task “Order a splint.”, requested, with Orthotics; have it done or cancel it");
        await app.RefusedAsync("/api/discharges", body, HttpStatusCode.Conflict, $"CarePlan/{draft}", "a draft that was never handed over; hand it over");
        var listed = (await app.GetAsync($"/api/discharges/blockers?person={of.Person}")).AsArray();
        Assert.Equal(["red-flag", "unsigned-note", "open-task", "draft-programme"], listed.Select(b => (string)b!["kind"]!));
        Assert.Equal([false, true, true, true], listed.Select(b => (bool)b!["canBeOverridden"]!));

        // A clinician may leave the others open, never the flag.
        var over = DischargeBodies.Over($"Composition/{of.Note}", $"Task/{task}", $"CarePlan/{draft}");
        await app.RefusedAsync("/api/discharges", DischargeBodies.Discharge(of.Person, over).ToJsonString(), HttpStatusCode.Conflict, $"Flag/{flag}", "It cannot be overridden.");
        await app.RefusedAsync("/api/discharges", DischargeBodies.Discharge(of.Person, DischargeBodies.Over($"Composition/{of.Note}", $"Task/{task}", $"CarePlan/{draft}", $"Flag/{flag}")).ToJsonString(),
            HttpStatusCode.Conflict, $"Flag/{flag}", "It cannot be overridden.");
        await app.PostAsync($"/api/flags/{flag}/clearance", JsonNode.Parse($$"""{ "by": {{DischargeBodies.By}}, "reason": "Blood pressure taken sitting and standing; seen by the GP." }""")!);
        var discharge = await app.PostAsync("/api/discharges", DischargeBodies.Discharge(of.Person, over));
        Assert.Contains("cleared on 15 June 2026 by Rowan Invented, physiotherapist, because “Blood pressure taken sitting and standing; seen by the GP.”", discharge.Text("discharge-flag-cleared"));
        Assert.Equal(3, discharge.Text("discharge-left-open").Split('\n').Length);
    }

    [Fact]
    public async Task A_prescription_that_would_begin_after_the_discharge_is_taken_out_first_or_left_with_a_reason()
    {
        var of = await app.CourseAsync();
        var revised = await app.PostAsync($"/api/programmes/{of.Programme}/revisions", JsonNode.Parse($$"""
            { "from": "2026-06-20", "reason": "More of it.", "by": {{DischargeBodies.By}}, "change": [{ "exercise": "coin-stacking", "dosage": { "sets": 4 } }] }
            """)!);
        Assert.NotNull(revised);
        await app.RefusedAsync("/api/discharges", DischargeBodies.Discharge(of.Person, DischargeBodies.Over($"Composition/{of.Note}")).ToJsonString(), HttpStatusCode.Conflict,
            await app.PrescriptionToComeAsync(of.Programme), "which begins on 2026-06-20, after the discharge, and would never hold");
    }
}

internal static class RecordCalls
{
    public static async Task<JsonNode> CreateAsync(this TestApp app, string type, JsonNode resource)
    {
        using var response = await app.Http.PostAsync($"/fhir/{type}", TestApp.Json(resource, "application/fhir+json"));
        var text = await response.Content.ReadAsStringAsync();
        Assert.True(response.IsSuccessStatusCode, text);
        return JsonNode.Parse(text)!;
    }

    public static async Task<string> PrescriptionToComeAsync(this TestApp app, string programme) =>
        "ServiceRequest/" + (string)(await app.GetAsync($"/api/programmes/{programme}"))["exercises"]!.AsArray().Single(e => (string?)e!["from"] == "2026-06-20")!["id"]!;
}
