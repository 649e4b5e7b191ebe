using System.Net;
using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Store;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.Sessions;

public class SessionTests(TradeApp app) : IClassFixture<TradeApp>
{
    [Fact]
    public async Task A_session_is_answered_with_what_was_stored_computed_and_drafted()
    {
        var of = await app.ProgrammeAsync();
        using var response = await app.Http.PostAsync("/api/sessions", TestApp.Json(TradeApp.Session(of)));
        var text = await response.Content.ReadAsStringAsync();
        Assert.True(response.StatusCode == HttpStatusCode.Created, text);
        var answer = JsonNode.Parse(text)!.AsObject();
        Assert.Equal("urgent", answer.First().Key);
        Assert.Null(answer["urgent"]);

        var session = (string)answer["session"]!;
        Assert.Equal("/api/sessions/" + session["Procedure/".Length..], response.Headers.Location!.ToString());
        Assert.Equal(10, (int?)answer["adherence"]!["due"]);
        Assert.Equal(1, (int?)answer["adherence"]!["done"]);
        Assert.Equal(9, (int?)answer["adherence"]!["unknown"]);
        Assert.Contains(answer["dose"]!.AsArray(), d => (string?)d!["exercise"] == "coin-stacking" && (int?)d["week"] == 2 && (int?)d["repetitions"] == 36);
        Assert.Equal(["coin-stacking", "key-turning"], answer["suggestions"]!.AsArray().Select(s => (string?)s!["exercise"]));
        Assert.Equal("preliminary", (string?)answer["note"]!["status"]);
        Assert.Contains("Went well.", (string?)answer["note"]!["text"]);
        Assert.All(answer["note"]!["statements"]!.AsArray(), s => Assert.NotEmpty(s!["evidence"]!.AsArray()));
        Assert.Equal((string?)answer["note"]!["text"], await (await app.Http.SendAsync(new HttpRequestMessage(HttpMethod.Get, (string)answer["note"]!["address"]!)
        {
            Headers = { { "Accept", "text/plain" } },
        })).Content.ReadAsStringAsync());
    }

    [Fact]
    public async Task Everything_that_is_stored_is_valid_and_is_what_the_answer_lists()
    {
        var of = await app.ProgrammeAsync();
        var answer = await app.PostAsync("/api/sessions", TradeApp.Session(of, ("redFlags", """["dizziness"]"""),
            ("adverseEvents", """[{ "kind": "skin-injury", "severity": "mild", "description": "A graze <1 cm & a mark." }]""")));
        var resources = answer["resources"]!.AsArray().Select(r => (string)r!).ToList();
        Assert.Contains(resources, r => r.StartsWith("AdverseEvent/", StringComparison.Ordinal));
        Assert.Contains(resources, r => r.StartsWith("Flag/", StringComparison.Ordinal));
        Assert.Contains(resources, r => r.StartsWith("Composition/", StringComparison.Ordinal));
        foreach (var address in resources)
        {
            var found = await app.Store.ReadAsync(address.Split('/')[0], address.Split('/')[1]);
            var resource = RehabRecords.Fhir.Parsing.ResourceReader.Read(found!.Json, RehabRecords.Fhir.Parsing.FhirFormat.Json);
            Assert.DoesNotContain(TestApp.SharedValidator.Validate(resource), i => i.Refuses);
        }
    }

    [Fact]
    public async Task What_was_recorded_is_read_back_and_what_was_not_is_not_there()
    {
        var of = await app.ProgrammeAsync();
        var body = TradeApp.Session(of, ("exercises[0].fatigue", null), ("exercises[0].painBefore", null));
        var answer = await app.PostAsync("/api/sessions", body);
        var session = await app.GetAsync("/api/sessions/" + ((string)answer["session"]!)["Procedure/".Length..]);
        var coins = session["exercises"]!.AsArray().Single(e => (string?)e!["exercise"] == "coin-stacking")!;
        foreach (var field in new[] { "sets", "repetitions", "purposefulRepetitions", "minutes", "help", "side", "painDuring", "painAfter", "quality" })
            Assert.Equal(body["exercises"]![0]![field]!.ToJsonString(), coins[field]!.ToJsonString());
        Assert.Equal(3.5m, (decimal?)coins["exertion"]!["value"]);
        Assert.Null(coins["fatigue"]);
        Assert.Null(coins["painBefore"]);
        Assert.Equal("fatigue", (string?)session["exercises"]!.AsArray().Single(e => (string?)e!["exercise"] == "key-turning")!["skipped"]!["reason"]);
        Assert.Equal("patient", (string?)session["reportedBy"]!["role"]);
        Assert.Equal("2026-06-10T10:00:00+01:00", (string?)session["at"]);
        Assert.Equal("Went well.", (string?)session["remarks"]![0]);
        Assert.Single((await app.GetAsync($"/api/sessions?programme={of.Programme}")).AsArray());
    }

    [Fact]
    public async Task Exertion_on_the_other_scale_keeps_its_scale()
    {
        var of = await app.ProgrammeAsync();
        var answer = await app.PostAsync("/api/sessions", TradeApp.Session(of, ("exercises[0].exertion", """{ "scale": "6-20", "value": 13 }""")));
        var result = Assert.Single(await app.Store.FindAllAsync<Observation>($"part-of={(string?)answer["session"]}"), o => o.Component.Count > 0);
        var exertion = Assert.Single(result.Component, c => c.Code.Coding.Any(x => x.Code == "exertion-6-20"));
        Assert.Equal(13, ((Integer)exertion.Value!).Value);
        Assert.DoesNotContain(result.Component, c => c.Code.Coding.Any(x => x.Code == "exertion-0-10"));
    }

    [Fact]
    public async Task Done_and_nothing_counted_is_recorded_as_done()
    {
        var of = await app.ProgrammeAsync();
        var answer = await app.PostAsync("/api/sessions", TradeApp.Session(of, ("exercises", """[{ "exercise": "coin-stacking" }, { "exercise": "key-turning", "sets": 0 }]""")));
        Assert.Equal(1, (int?)answer["adherence"]!["done"]);
        var bare = Assert.Single(await app.Store.FindAllAsync<Observation>($"part-of={(string?)answer["session"]}"), o => o.Component.Count == 0);
        Assert.Equal("unknown", Assert.Single(bare.DataAbsentReason!.Coding).Code);
    }

    [Fact]
    public async Task A_missed_session_is_not_done_with_its_reason()
    {
        var of = await app.ProgrammeAsync();
        var answer = await app.PostAsync("/api/sessions", TradeApp.Session(of, ("doneAt", null), ("exercises", "[]"),
            ("missed", """{ "plannedFor": "2026-06-09", "reason": "no-carer", "note": "My sister was away." }"""), ("reportedBy", """{ "role": "carer", "name": "quill placeholder" }""")));
        Assert.Equal(1, (int?)answer["adherence"]!["notDone"]);
        Assert.Equal(0, (int?)answer["adherence"]!["done"]);
        var (procedure, _) = (await app.Store.GetAsync<Procedure>(((string)answer["session"]!).Split('/')[1]))!.Value;
        Assert.Equal(EventStatus.NotDone, procedure.Status);
        Assert.Equal("no-carer", procedure.StatusReason!.Coding[0].Code);
        Assert.StartsWith("RelatedPerson/", procedure.Asserter!.Reference, StringComparison.Ordinal);
        Assert.Equal("My sister was away.", procedure.Note[0].Text);
    }

    [Theory]
    [InlineData("""[{ "exercise": "coin-stacking", "skipped": { "reason": "pain" } }]""", "pain")]
    [InlineData("""[{ "exercise": "coin-stacking", "skipped": { "reason": "pain" } }, { "exercise": "key-turning", "skipped": { "reason": "fatigue" } }]""", "other")]
    public async Task An_occasion_of_which_everything_was_skipped_is_not_practice(string exercises, string reason)
    {
        var of = await app.ProgrammeAsync();
        var answer = await app.PostAsync("/api/sessions", TradeApp.Session(of, ("exercises", exercises)));
        Assert.Equal(0, (int?)answer["adherence"]!["done"]);
        Assert.Equal(reason, (await app.Store.GetAsync<Procedure>(((string)answer["session"]!).Split('/')[1]))!.Value.Resource.StatusReason!.Coding[0].Code);
    }

    [Theory]
    [InlineData("""{ "role": "patient" }""", "patient")]
    [InlineData("""{ "role": "carer", "name": "Somebody Unlisted" }""", "carer")]
    [InlineData("""{ "role": "carer" }""", "carer")]
    [InlineData("""{ "role": "clinician", "name": "Rowan Invented" }""", "clinician")]
    [InlineData("""{ "role": "support-worker", "name": "Wim Invented" }""", "support-worker")]
    public async Task Whoever_reports_stays_who_they_are(string reporter, string role)
    {
        var of = await app.ProgrammeAsync();
        var answer = await app.PostAsync("/api/sessions", TradeApp.Session(of, ("reportedBy", reporter)));
        var session = await app.GetAsync("/api/sessions/" + ((string)answer["session"]!)["Procedure/".Length..]);
        Assert.Equal(role, (string?)session["reportedBy"]!["role"]);
    }

    [Fact]
    public async Task Order_of_arrival_does_not_matter()
    {
        string[] days = ["2026-06-02", "2026-06-04", "2026-06-05", "2026-06-08", "2026-06-10"];
        async Task<string> LastTextAsync(IEnumerable<string> order)
        {
            var of = await app.ProgrammeAsync();
            var text = "";
            foreach (var day in order)
            {
                var number = Array.IndexOf(days, day);
                text = (string)(await app.PostAsync("/api/sessions", TradeApp.Session(of, ("doneAt", $"\"{day}T10:00:00+01:00\""), ("remark", $"\"Day {number}.\""),
                    ("exercises[0].repetitions", $"{30 + number}"))))["note"]!["text"]!;
            }

            return text;
        }

        var forwards = await LastTextAsync(days);
        Assert.Equal(forwards, await LastTextAsync(days.Reverse()));
        Assert.Equal(forwards, await LastTextAsync([days[2], days[4], days[0], days[3], days[1]]));
        Assert.Contains("Day 4.", forwards);
    }

    [Fact]
    public async Task There_is_one_open_draft_and_one_adherence_summary_per_programme_and_each_session_makes_their_next_version()
    {
        var of = await app.ProgrammeAsync();
        var first = await app.PostAsync("/api/sessions", TradeApp.Session(of));
        var second = await app.PostAsync("/api/sessions", TradeApp.Session(of, ("doneAt", "\"2026-06-11T10:00:00+01:00\"")));
        Assert.Equal((string?)first["note"]!["address"], (string?)second["note"]!["address"]);
        Assert.EndsWith("/_history/1", (string?)first["note"]!["composition"]);
        Assert.EndsWith("/_history/2", (string?)second["note"]!["composition"]);
        var summary = second["resources"]!.AsArray().Select(r => (string)r!).Intersect(first["resources"]!.AsArray().Select(r => (string)r!)).ToList();
        Assert.Equal(2, summary.Count);
    }

    [Fact]
    public async Task The_same_exercise_on_both_sides_is_told_apart_by_side_or_id()
    {
        var of = await app.ProgrammeAsync(("exercises[1]", """{ "exercise": "coin-stacking|1.0.0", "side": "left" }"""));
        var left = (string)(await app.GetAsync($"/api/programmes/{of.Programme}"))["exercises"]![1]!["id"]!;
        var answer = await app.PostAsync("/api/sessions", TradeApp.Session(of, ("exercises",
            $$"""[{ "exercise": "coin-stacking", "side": "right", "repetitions": 5 }, { "exercise": "{{left}}", "repetitions": 7 }]""")));
        Assert.Equal(2, (await app.Store.FindAllAsync<Observation>($"part-of={(string?)answer["session"]}")).Count);
        await app.RefusedAsync("/api/sessions", TradeApp.Session(of, ("exercises", """[{ "exercise": "coin-stacking", "repetitions": 5 }]""")).ToJsonString(),
            HttpStatusCode.UnprocessableEntity, "exercises[0].exercise", "which the programme prescribes 2 times; give the side too");
    }
}
