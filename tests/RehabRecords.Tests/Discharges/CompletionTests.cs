using System.Net;
using System.Text.Json.Nodes;
using RehabRecords.Tests.Documents;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.Discharges;

public class CompletionTests(TradeApp app) : IClassFixture<TradeApp>
{
    private const string Completion = $$"""{ "by": {{DischargeBodies.By}} }""";

    private async Task<((string Person, string Programme, string Note) Of, string Id)> SignedAsync()
    {
        var of = await app.CourseAsync();
        var discharge = await app.PostAsync("/api/discharges", DischargeBodies.Discharge(of.Person, DischargeBodies.Over($"Composition/{of.Note}")));
        await app.SignedAsync((string)discharge["id"]!);
        return (of, (string)discharge["id"]!);
    }

    [Fact]
    public async Task A_signed_summary_is_completed_and_everything_that_ends_is_told()
    {
        var (of, id) = await SignedAsync();
        Assert.Equal("signed", (string?)(await app.GetAsync($"/api/discharges/{id}"))["status"]);
        var done = await app.PostAsync($"/api/discharges/{id}/completion", JsonNode.Parse(Completion)!);
        Assert.Equal(("completed", "2026-06-15"), ((string?)done["status"], (string?)done["dischargedOn"]));
        Assert.Equal($"CarePlan/{of.Programme}", (string?)done["ended"]![0]!["resource"]);
        Assert.Equal(3, done["ended"]!.AsArray().Count);

        var plan = await app.GetAsync($"/fhir/CarePlan/{of.Programme}");
        Assert.Equal(("completed", "2026-06-15"), ((string?)plan["status"], (string?)plan["period"]!["end"]));
        var episode = await app.GetAsync($"/fhir/{(string)done["episode"]!}");
        Assert.Equal(("finished", "2026-06-01", "2026-06-15", "active"),
            ((string?)episode["status"], (string?)episode["period"]!["start"], (string?)episode["period"]!["end"], (string?)episode["statusHistory"]![0]!["status"]));
        foreach (var ended in done["ended"]!.AsArray().Skip(1))
        {
            var request = await app.GetAsync($"/fhir/{(string)ended!["resource"]!}");
            Assert.Equal(("completed", "2026-06-15"), ((string?)request["status"], (string?)request["occurrenceTiming"]!["repeat"]!["boundsPeriod"]!["end"]));
        }
        var task = await app.GetAsync($"/fhir/{(string)done["tasks"]![0]!}");
        Assert.Equal(("requested", "Check the splint.", "Orthotics", "2026-06-30"),
            ((string?)task["status"], (string?)task["description"], (string?)task["owner"]!["display"], (string?)task["restriction"]!["period"]!["end"]));
        var told = Assert.Single((await app.GetAsync($"/fhir/Provenance?target={(string)done["episode"]!}"))["entry"]!.AsArray())!["resource"]!;
        Assert.Equal("Rowan Invented, physiotherapist", (string?)told["agent"]![0]!["who"]!["display"]);

        // What was practised last can still be read, and the summary still says what it said.
        Assert.Equal(2, (await app.GetAsync($"/api/programmes/{of.Programme}"))["exercises"]!.AsArray().Count);
        var discharge = await app.GetAsync($"/api/discharges/{id}");
        Assert.Equal("completed", (string?)discharge["status"]);
        Assert.Equal("[]", discharge["stale"]!.ToJsonString());
        await app.RefusedAsync($"/api/discharges/{id}/completion", Completion, HttpStatusCode.Conflict, "id", "was completed as of 2026-06-15 already");
    }

    [Fact]
    public async Task After_the_discharge_no_later_session_is_taken_and_one_done_before_it_makes_the_summary_stale()
    {
        var (of, id) = await SignedAsync();
        await app.PostAsync($"/api/discharges/{id}/completion", JsonNode.Parse(Completion)!);
        app.Time.Now = app.Time.Now.AddDays(1);
        try
        {
            await app.RefusedAsync("/api/sessions", TradeApp.Session((of.Person, of.Programme), ("doneAt", "\"2026-06-16T10:00:00+01:00\"")).ToJsonString(), HttpStatusCode.UnprocessableEntity, "doneAt",
                "doneAt is 2026-06-16 in Europe/London, after the programme was completed as of 2026-06-15 by the discharge; a session done by that day is still taken, and what is practised since belongs to a new programme (POST /api/programmes)");
            await app.PostAsync("/api/sessions", TradeApp.Session((of.Person, of.Programme), ("doneAt", "\"2026-06-14T10:00:00+01:00\"")));
        }
        finally
        {
            app.Time.Now = app.Time.Now.AddDays(-1);
        }
        var discharge = await app.GetAsync($"/api/discharges/{id}");
        var adherence = Assert.Single(discharge["stale"]!.AsArray(), s => (string?)s!["id"] == "adherence")!;
        Assert.Contains("2 reported done, 0 reported missed, 13 without a report", (string)adherence["before"]!);
        Assert.Contains("3 reported done, 0 reported missed, 12 without a report", (string)adherence["now"]!);
        Assert.Contains("2 reported done", discharge.Text("adherence"));
        // A programme that is over is not changed any more.
        await app.RefusedAsync($"/api/programmes/{of.Programme}/pauses", $$"""{ "from": "2026-06-12", "reason": "Away.", "by": {{DischargeBodies.By}} }""", HttpStatusCode.UnprocessableEntity, "id", "whose status is completed");
    }

    [Fact]
    public async Task A_summary_that_nobody_signed_is_not_completed()
    {
        var of = await app.CourseAsync();
        var id = (string)(await app.PostAsync("/api/discharges", DischargeBodies.Discharge(of.Person, DischargeBodies.Over($"Composition/{of.Note}"))))["id"]!;
        await app.RefusedAsync($"/api/discharges/{id}/completion", Completion, HttpStatusCode.Conflict, $"Composition/{id}", "is preliminary and not signed; a registered clinician reads and signs it first");
        await app.RefusedAsync($"/api/discharges/{id}/completion", "{}", HttpStatusCode.UnprocessableEntity, "by", "by is missing; give the clinician who completes the discharge");
        await app.RefusedAsync("/api/discharges/none/completion", Completion, HttpStatusCode.NotFound, "id", "There is no discharge 'none'");
    }

    [Fact]
    public async Task What_came_up_after_the_signature_stands_in_the_way_and_a_form_can_no_longer_replace_the_summary()
    {
        var (of, id) = await SignedAsync();
        var session = TradeApp.Session((of.Person, of.Programme), ("doneAt", "\"2026-06-14T10:00:00+01:00\""), ("redFlags", "[\"dizziness\"]"));
        var flag = (string)(await app.PostAsync("/api/sessions", session))["flags"]![0]!["id"]!;
        await app.RefusedAsync($"/api/discharges/{id}/completion", Completion, HttpStatusCode.Conflict, $"Flag/{flag}", "It cannot be overridden.");
        Assert.Equal("red-flag", (string?)(await app.GetAsync($"/api/discharges/{id}"))["blockers"]![0]!["kind"]);
        await app.PostAsync($"/api/flags/{flag}/clearance", JsonNode.Parse($$"""{ "by": {{DischargeBodies.By}}, "reason": "Blood pressure taken sitting and standing." }""")!);
        await app.RefusedAsync("/api/discharges", DischargeBodies.Discharge(of.Person, DischargeBodies.Over($"Composition/{of.Note}")).ToJsonString(), HttpStatusCode.Conflict, "person",
            "was signed, so a new form cannot take its place; edit or amend the summary itself");
        await app.PostAsync($"/api/discharges/{id}/completion", JsonNode.Parse(Completion)!);
    }

    [Fact]
    public async Task Who_comes_back_gets_a_new_programme_and_a_new_episode()
    {
        var (of, id) = await SignedAsync();
        await app.PostAsync($"/api/discharges/{id}/completion", JsonNode.Parse(Completion)!);
        await app.RefusedAsync("/api/discharges", DischargeBodies.Discharge(of.Person).ToJsonString(), HttpStatusCode.UnprocessableEntity, "person", "who has no programme to be discharged from since the last discharge");
        await app.PostAsync("/api/programmes", TradeApp.With(TradeApp.Programme(of.Person).ToJsonString(), ("start", "\"2026-06-15\"")));
        var open = string.Join(',', (await app.GetAsync($"/api/discharges/blockers?person={of.Person}")).AsArray().Select(b => (string)b!["blocker"]!));
        var again = await app.PostAsync("/api/discharges", DischargeBodies.Discharge(of.Person, DischargeBodies.Over(open.Split(','))));
        Assert.Equal(("draft", "2026-06-15"), ((string?)again["status"], (string?)again["from"]));
        Assert.Single(again["programmes"]!.AsArray());
        Assert.Equal(["draft", "completed"], (await app.GetAsync($"/api/discharges?person={of.Person}")).AsArray().Select(d => (string)d!["status"]!).Order(StringComparer.Ordinal).Reverse());
    }
}
