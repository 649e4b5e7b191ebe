using System.Net;
using System.Text.Json.Nodes;
using RehabRecords.Tests.Docs;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.Discharges;

/// <summary>A course of two weeks, ready to be discharged, and what is said about it.</summary>
internal static class DischargeBodies
{
    public const string By = """{ "name": "Rowan Invented", "role": "physiotherapist" }""";

    public static JsonObject Discharge(string person, params (string Path, string? Json)[] changes) => TradeApp.With(TradeApp.With($$"""
        {
          "dischargedOn": "2026-06-15", "reason": "The block is finished & done.", "destination": "Home.",
          "diagnosis": "Stroke, March 2026.", "contact": "The clinic, 01632 960000.",
          "actions": [{ "text": "Check the splint.", "owner": "Orthotics", "due": "2026-06-30" }, { "text": "Keep practising.", "owner": "The person" }],
          "reviewDate": "2026-09-15",
          "distribution": [{ "name": "Dr Imagined", "role": "GP", "organisation": "Pebblewick Surgery" }, { "name": "Perrin Placeholder", "role": "person" }],
          "equipment": ["soft putty"],
          "carerTraining": [{ "topic": "Supporting the arm.", "trained": "Quill Placeholder, sister", "on": "2026-06-12", "competency": "Unprompted, twice." }],
          "author": {{By}}
        }
        """, ("person", $"\"{person}\"")).ToJsonString(), changes);

    /// <summary>Two sessions, two peg times by the affected hand: 62 s before, 27 s after, and the draft note left open.</summary>
    public static async Task<(string Person, string Programme, string Note)> CourseAsync(this TradeApp app)
    {
        var of = await app.ProgrammeAsync();
        foreach (var (day, seconds) in new[] { ("2026-05-29", "62"), ("2026-06-12", "27") })
            await app.PostAsync("/api/measures", JsonNode.Parse($$"""
                { "person": "{{of.Person}}", "measure": "nine-hole-peg", "side": "right", "measuredAt": "{{day}}T11:00:00+01:00", "value": {{seconds}}, "unit": "s", "assessor": {{By}} }
                """)!);
        await app.PostAsync("/api/sessions", TradeApp.Session(of, ("doneAt", "\"2026-06-09T10:00:00+01:00\"")));
        var session = await app.PostAsync("/api/sessions", TradeApp.Session(of));
        return (of.Person, of.Programme, ((string)session["note"]!["composition"]!).Split('/')[1]);
    }

    public static (string, string?) Over(params string[] blockers) => ("overrides",
        new JsonArray([.. blockers.Select(b => new JsonObject { ["blocker"] = b, ["reason"] = "Settled with the person today." })]).ToJsonString());

    public static string Text(this JsonNode discharge, string rule) =>
        string.Join('\n', discharge["summary"]!["statements"]!.AsArray().Where(s => (string?)s!["rule"] == rule).Select(s => (string)s!["text"]!));
}

public class DischargeTests(TradeApp app) : IClassFixture<TradeApp>
{
    [Fact]
    public async Task A_discharge_drafts_the_summary_from_the_record_and_from_what_the_clinician_states()
    {
        var of = await app.CourseAsync();
        var discharge = await app.PostAsync("/api/discharges", DischargeBodies.Discharge(of.Person, DischargeBodies.Over($"Composition/{of.Note}")));
        Assert.Equal(("draft", "2026-06-01", "2026-06-15"), ((string?)discharge["status"], (string?)discharge["from"], (string?)discharge["dischargedOn"]));
        Assert.Equal($"CarePlan/{of.Programme}", (string?)Assert.Single(discharge["programmes"]!.AsArray()));

        // Computed: 62 less 27 is 35 s, at or above the 32.8 s of Chen 2009 for the more affected hand.
        Assert.Contains("62.0 s on 29 May 2026, 27.0 s on 12 June 2026: 35.0 s less (better). Reaches the minimal detectable change (32.8 s)", discharge.Text("measure-change"));
        Assert.Equal("First against last result, by measure and side: better, at or above measurement error: Nine-Hole Peg Test, right (affected).", discharge.Text("discharge-outcome"));
        // Computed: 15 days to the day of discharge, of which two have a report.
        Assert.Contains("15 home sessions were planned: 2 reported done, 0 reported missed, 13 without a report. Adherence lies between 13 % and 100 %", discharge.Text("adherence"));
        // Computed: 36 a day as the template's level asks, for 15 days.
        Assert.Contains("Stacking coins (right hand), in all: 72 of 540 planned repetitions (13 %)", discharge.Text("discharge-dose"));
        Assert.Equal("Discharged on 15 June 2026 by Rowan Invented, physiotherapist. Destination: “Home.” Reason: “The block is finished & done.”", discharge.Text("discharge-details"));
        Assert.Equal("Requested by Rowan Invented, physiotherapist: “Check the splint.” Owner: Orthotics. By 30 June 2026.\n"
            + "Requested by Rowan Invented, physiotherapist: “Keep practising.” Owner: The person. No day was set.", discharge.Text("discharge-action"));
        Assert.Equal("Dr Imagined, GP, Pebblewick Surgery.\nPerrin Placeholder, person.", discharge.Text("discharge-recipient"));
        Assert.Contains("Stop rule (shoulder pain), for Stacking coins", discharge.Text("discharge-caution"));
        Assert.Contains("Left open at discharge: a note that was not signed.", discharge.Text("discharge-left-open"));
        Assert.Equal("Carer training, as Rowan Invented, physiotherapist states: Quill Placeholder, sister, on 12 June 2026: “Supporting the arm.” Observed afterwards: “Unprompted, twice.”", discharge.Text("discharge-training"));
        Assert.All(discharge["summary"]!["statements"]!.AsArray(), s => Assert.NotEmpty(s!["evidence"]!.AsArray()));
        Assert.Empty(discharge["blockers"]!.AsArray());
        Assert.Empty(discharge["stale"]!.AsArray());

        // Nothing has ended yet.
        Assert.Equal("active", (string?)(await app.GetAsync($"/fhir/CarePlan/{of.Programme}"))["status"]);
        Assert.Equal("active", (string?)(await app.GetAsync($"/fhir/{(string)discharge["episode"]!}"))["status"]);
    }

    [Fact]
    public async Task Every_heading_of_the_national_set_is_there_and_an_empty_one_says_why()
    {
        var of = await app.CourseAsync();
        var discharge = await app.PostAsync("/api/discharges", DischargeBodies.Discharge(of.Person, DischargeBodies.Over($"Composition/{of.Note}")));
        var summary = await app.GetAsync($"/fhir/{((string)discharge["summary"]!["composition"]!).Split("/_history")[0]}");
        var sections = summary["section"]!.AsArray();
        Assert.Equal(22, sections.Select(s => (string)s!["code"]!["coding"]![0]!["code"]!).Distinct().Count());
        Assert.All(sections, s => Assert.True(s!["section"] is null == s["emptyReason"] is not null, s.ToJsonString()));
        var allergies = sections.Single(s => (string?)s!["title"] == "Allergies and adverse reactions")!;
        Assert.Equal("unavailable", (string?)allergies["emptyReason"]!["coding"]![0]!["code"]);
        Assert.Contains("does not mean that there are none", (string)allergies["text"]!["div"]!);
        Assert.Equal(("preliminary", "18842-5"), ((string?)summary["status"], (string?)summary["type"]!["coding"]![0]!["code"]));
    }

    [Fact]
    public async Task A_discharge_is_read_as_text_page_document_and_note()
    {
        var of = await app.CourseAsync();
        var discharge = await app.PostAsync("/api/discharges", DischargeBodies.Discharge(of.Person, DischargeBodies.Over($"Composition/{of.Note}")));
        var address = (string)discharge["address"]!;
        var text = await app.Http.GetStringAsync(address, "text/plain");
        Assert.StartsWith("DRAFT", text);
        Assert.Contains("SAFETY ALERTS\n", text);
        var page = await app.Http.GetStringAsync(address, "text/html");
        Assert.Contains("“The block is finished & done.”", System.Net.WebUtility.HtmlDecode(page));
        Assert.Contains("to 15 June 2026 (the day of discharge)", page);
        var document = JsonNode.Parse(await app.Http.GetStringAsync(address, "application/fhir+json"))!;
        Assert.Equal(("document", "Composition"), ((string?)document["type"], (string?)document["entry"]![0]!["resource"]!["resourceType"]));
        Assert.Contains(document["entry"]!.AsArray(), e => (string?)e!["resource"]!["resourceType"] == "QuestionnaireResponse");
        Assert.Equal((string?)discharge["summary"]!["text"], (string?)(await app.GetAsync($"/api/notes/{(string)discharge["id"]!}"))["text"]);
        Assert.Equal((string?)discharge["id"], (string?)Assert.Single((await app.GetAsync($"/api/discharges?person={of.Person}")).AsArray())!["id"]);
        Assert.Equal(discharge["summary"]!.ToJsonString(), (await app.GetAsync(address))["summary"]!.ToJsonString());
        await app.MissingAsync("/api/discharges/none-such", "There is no discharge 'none-such'");
        await app.MissingAsync($"/api/discharges/{of.Note}", "is no discharge");
    }

    [Fact]
    public async Task The_form_sent_again_drafts_anew_under_the_same_address_and_the_same_form_the_same_words()
    {
        var of = await app.CourseAsync();
        var over = DischargeBodies.Over($"Composition/{of.Note}");
        var first = await app.PostAsync("/api/discharges", DischargeBodies.Discharge(of.Person, over));
        var again = await app.PostAsync("/api/discharges", DischargeBodies.Discharge(of.Person, over));
        Assert.Equal((string?)first["id"], (string?)again["id"]);
        Assert.Equal((string?)first["summary"]!["text"], (string?)again["summary"]!["text"]);
        var other = await app.PostAsync("/api/discharges", DischargeBodies.Discharge(of.Person, over, ("destination", "\"With her sister.\"")));
        Assert.Contains("“With her sister.”", other.Text("discharge-details"));
        Assert.Single((await app.GetAsync($"/fhir/EpisodeOfCare?patient=Patient/{of.Person}"))["entry"]!.AsArray());
    }
}

internal static class DischargeCalls
{
    public static async Task MissingAsync(this TradeApp app, string path, string says)
    {
        using var response = await app.Http.GetAsync(path);
        Assert.Equal(HttpStatusCode.NotFound, response.StatusCode);
        Assert.Contains(says, (string)JsonNode.Parse(await response.Content.ReadAsStringAsync())!["detail"]!, StringComparison.Ordinal);
    }
}
