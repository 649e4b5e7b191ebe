using System.Net;
using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Store;
using RehabRecords.Progress;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.Programmes;

/// <summary>Numbers marked "computed" are our own arithmetic. It is noon of Monday 15 June 2026; the programme began on Monday 1 June.</summary>
public class RevisionTests(TradeApp app) : IClassFixture<TradeApp>
{
    private const string By = """{ "name": "Rowan Invented", "role": "physiotherapist" }""";

    private static JsonObject Revision(params (string Path, string? Json)[] changes) =>
        TradeApp.With($$"""{ "from": "2026-06-18", "reason": "Mornings only, from Thursday on.", "by": {{By}} }""", changes);

    private static JsonObject Session((string, string) of, int day, int repetitions) =>
        TradeApp.Session(of, ("doneAt", $"\"2026-06-{day:00}T09:00:00+01:00\""), ("exercises[0].repetitions", $"{repetitions}"), ("exercises[0].purposefulRepetitions", null), ("exercises[1]", """{ "exercise": "key-turning", "repetitions": 20 }"""));

    [Fact]
    public async Task A_revision_in_the_middle_of_a_week_counts_each_day_by_what_was_prescribed_on_it()
    {
        var of = await app.ProgrammeAsync();
        var revised = await app.PostAsync($"/api/programmes/{of.Programme}/revisions", Revision(
            ("change", """[{ "exercise": "coin-stacking", "dosage": { "repetitions": 5 }, "schedule": { "timesPerDay": 2 } }]""")));
        var now = revised["exercises"]!.AsArray().Single(e => (string?)e!["exercise"] == "coin-stacking|1.0.0")!;
        var before = revised["earlier"]![0]!;
        Assert.Equal(revised.ToJsonString(), (await app.GetAsync($"/api/programmes/{of.Programme}")).ToJsonString());

        // The week of 15 to 21 June, every day told: once a day of the old, then of the new; named by code, by the old id and by the new one alike.
        app.Time.Now = DateTimeOffset.Parse("2026-06-22T12:00:00Z");
        foreach (var day in Enumerable.Range(15, 3))
            await app.PostAsync("/api/sessions", TradeApp.With(Session(of, day, 36).ToJsonString(), ("exercises[0].exercise", $"\"{(day == 15 ? (string?)now["id"] : "coin-stacking")}\"")));
        JsonNode? last = null;
        foreach (var day in Enumerable.Range(18, 4))
            last = await app.PostAsync("/api/sessions", TradeApp.With(Session(of, day, 15).ToJsonString(), ("exercises[0].exercise", $"\"{(day == 18 ? (string?)before["id"] : "coin-stacking")}\"")));

        // Computed: 3 days of 3 sets of 12, then 4 days of 2 times 3 sets of 5 = 108 + 120 planned; 3 x 36 + 4 x 15 = 168 done.
        var dose = last!["dose"]!.AsArray().Single(d => (string?)d!["exercise"] == "coin-stacking" && (int?)d["week"] == 3)!;
        Assert.Equal((228, 168, 7), ((int)dose["planned"]!, (int)dose["repetitions"]!, (int)dose["occasions"]!));
        // Computed: 17 days of one occasion to the 17th, then 4 days of two = 25 due; 7 done, 18 without a report.
        var adherence = last["adherence"]!;
        Assert.Equal((25, 7, 18), ((int)adherence["due"]!, (int)adherence["done"]!, (int)adherence["unknown"]!));
        Assert.Equal((Math.Round(7 / 25.0, 4), 1.0), ((double)adherence["lower"]!, (double)adherence["upper"]!));

        Assert.Equal(3, (await app.Store.FindAllAsync<Observation>($"based-on=ServiceRequest/{(string?)before["id"]}")).Count);
        Assert.Equal(4, (await app.Store.FindAllAsync<Observation>($"based-on=ServiceRequest/{(string?)now["id"]}")).Count);
        var said = last["note"]!["statements"]!.AsArray().ToLookup(s => (string)s!["rule"]!, s => (string)s!["text"]!);
        Assert.Equal(["From 18 June 2026, changed by Rowan Invented, physiotherapist: Stacking coins: do 3 sets of 5 repetitions, about 10 minutes in all. Hold each one for 2 seconds. Rest for 30 seconds between sets. Tempo: slow and smooth in place of do 3 sets of 12 repetitions, about 10 minutes in all. Hold each one for 2 seconds. Rest for 30 seconds between sets. Tempo: slow and smooth, twice every day in place of once every day. Reason: “Mornings only, from Thursday on.”"],
            said["revision"]);
        Assert.Contains("Stacking coins (right hand), 3 sets of 5", Assert.Single(said["programme"]), StringComparison.Ordinal);
        Assert.DoesNotContain("3 sets of 12", said["programme"].First(), StringComparison.Ordinal);
    }

    [Fact]
    public async Task Exercises_are_added_stopped_and_rescheduled_together_and_each_change_is_kept()
    {
        var of = await app.ProgrammeAsync();
        await app.PostAsync("/api/sessions", TradeApp.Session(of));
        var revised = await app.PostAsync($"/api/programmes/{of.Programme}/revisions", Revision(
            ("stop", """["key-turning"]"""), ("add", """[{ "exercise": "towel-wiping|1.0.0", "side": "both" }]"""), ("schedule", """{ "daysOfWeek": ["mon", "thu"] }""")));
        Assert.Equal(["coin-stacking|1.0.0", "towel-wiping|1.0.0"], revised["exercises"]!.AsArray().Select(e => (string?)e!["exercise"]));
        Assert.Equal(["mon", "thu"], revised["exercises"]![0]!["schedule"]!["daysOfWeek"]!.AsArray().Select(d => (string?)d));
        Assert.All(revised["exercises"]!.AsArray(), e => Assert.Equal("2026-06-18", (string?)e!["from"]));
        Assert.Equal("2026-07-12", (string?)revised["exercises"]![1]!["until"]);
        var decisions = (await app.GetAsync($"/api/programmes/{of.Programme}/decisions")).AsArray();
        Assert.Equal(["add", "revise", "stop"], decisions.Select(d => (string)d!["decision"]!).Order(StringComparer.Ordinal));
        Assert.Equal([$"{of.Programme}/1"], decisions.Select(d => (string)d!["revision"]!).Distinct());
        Assert.All(decisions, d => Assert.Null(d!["suggested"]));
        var (plan, _) = (await app.Store.GetAsync<CarePlan>(of.Programme))!.Value;
        Assert.Contains("No longer prescribed after 17 June 2026: Turning a key.", plan.Text!.Div, StringComparison.Ordinal);
        var note = await app.GetAsync($"/api/notes/{(string)(await app.GetAsync($"/api/notes?person={of.Person}"))[0]!["id"]!}");
        Assert.Single(note["statements"]!.AsArray(), s => (string?)s!["rule"] == "revision");
        Assert.Equal((string?)note["composition"], (string?)(await app.PostAsync("/api/notes", new JsonObject { ["programme"] = of.Programme }))["composition"]);
    }

    [Fact]
    public async Task What_is_changed_on_the_day_it_begins_has_never_held()
    {
        var of = await app.ProgrammeAsync(("start", "\"2026-06-20\""));
        var revised = await app.PostAsync($"/api/programmes/{of.Programme}/revisions", Revision(("from", "\"2026-06-20\""), ("change", """[{ "exercise": "coin-stacking", "dosage": { "sets": 1 } }]""")));
        Assert.Empty(revised["earlier"]!.AsArray());
        app.Time.Now = DateTimeOffset.Parse("2026-06-22T12:00:00Z");
        var session = await app.PostAsync("/api/sessions", TradeApp.Session(of, ("doneAt", "\"2026-06-20T10:00:00+01:00\"")));
        Assert.Equal(12, (int?)session["dose"]![0]!["planned"]);
    }

    [Theory]
    [InlineData("by", null, "by", "by is missing; give the clinician who revises it")]
    [InlineData("reason", null, "reason", "reason is missing; give why the programme is revised")]
    [InlineData("reason", "\"Nothing else.\"", "change", "change is missing, and so are add, stop and schedule")]
    [InlineData("stop", """["juggling"]""", "stop[0]", "stop[0] is 'juggling', which this programme does not have; use one of: coin-stacking, key-turning")]
    [InlineData("stop", """["coin-stacking", "key-turning"]""", "", "Nothing would be prescribed any more; leave at least one exercise")]
    [InlineData("change", """[{ "exercise": "coin-stacking" }]""", "change[0].dosage", "change[0].dosage is missing, and so is everything else")]
    [InlineData("change", """[{ "exercise": "coin-stacking", "dosage": { "sets": 0 } }]""", "change[0].dosage.sets", "change[0].dosage.sets is 0; give a number of sets from 1 to 100")]
    [InlineData("add", """[{ "exercise": "juggling|1.0.0", "side": "both" }]""", "add[0].exercise", "add[0].exercise names 'juggling|1.0.0', and there is no such exercise")]
    [InlineData("add", """[{ "exercise": "coin-stacking|1.0.0", "side": "right" }]""", "add[0].exercise", "which the programme prescribes already; change it instead of adding it")]
    [InlineData("add", """[{ "exercise": "coin-stacking|1.0.0" }]""", "add[0].side", "add[0].side is missing")]
    [InlineData("schedule", """{ "timesPerDay": 30 }""", "schedule.timesPerDay", "schedule.timesPerDay is 30; give times a day from 1 to 24")]
    public async Task A_revision_that_cannot_stand_is_refused_and_nothing_is_stored(string path, string? json, string field, string says)
    {
        var of = await app.ProgrammeAsync();
        var body = Revision((path, json));
        if (path is "by")
            body = TradeApp.With(body.ToJsonString(), ("stop", """["key-turning"]"""));
        await app.RefusedAsync($"/api/programmes/{of.Programme}/revisions", body.ToJsonString(), HttpStatusCode.UnprocessableEntity, field, says);
    }

    [Theory]
    [InlineData("\"2026-06-09\"", "from is 2026-06-09, and coin-stacking has a result of 2026-06-10")]
    [InlineData("\"2026-07-13\"", "from is 2026-07-13, and the programme runs from 2026-06-01 to 2026-07-12")]
    public async Task A_revision_does_not_reach_back_over_results_or_beyond_the_programme(string from, string says)
    {
        var of = await app.ProgrammeAsync();
        await app.PostAsync("/api/sessions", TradeApp.Session(of));
        await app.RefusedAsync($"/api/programmes/{of.Programme}/revisions", Revision(("from", from), ("stop", """["coin-stacking"]""")).ToJsonString(), HttpStatusCode.UnprocessableEntity, "from", says);
    }

    [Theory]
    [InlineData(1)]
    [InlineData(2)]
    public async Task A_programme_is_read_with_its_own_prescriptions_though_it_is_revised_while_it_is_read(int reading)
    {
        var of = await app.ProgrammeAsync();
        var readings = 0;
        var view = app.Store.View(seen: version =>
        {
            if (version.Type == "CarePlan" && ++readings == reading)
                app.PostAsync($"/api/programmes/{of.Programme}/revisions", Revision(("change", """[{ "exercise": "coin-stacking", "dosage": { "sets": 4 } }]"""))).GetAwaiter().GetResult();
        });
        var record = await new ProgressReader(view).ReadAsync(of.Programme);
        Assert.True(readings >= reading);
        Assert.Equal(
            record.Resources.OfType<CarePlan>().Single().Activity.Select(a => a.Reference!.Reference).Order(StringComparer.Ordinal),
            record.Resources.OfType<ServiceRequest>().Select(r => $"ServiceRequest/{r.Id}").Order(StringComparer.Ordinal));
    }

    [Fact]
    public async Task Of_two_revisions_at_once_one_is_told_of_the_conflict_and_none_is_lost()
    {
        var met = false;
        for (var round = 0; round < 20 && !met; round++)
        {
            var of = await app.ProgrammeAsync();
            var answers = await System.Threading.Tasks.Task.WhenAll(Enumerable.Range(1, 5).Select(async sets =>
            {
                using var response = await app.Http.PostAsync($"/api/programmes/{of.Programme}/revisions",
                    TestApp.Json(Revision(("change", $$"""[{ "exercise": "coin-stacking", "dosage": { "sets": {{sets + 3}} } }]"""))));
                return (response.StatusCode, Text: await response.Content.ReadAsStringAsync());
            }));
            Assert.All(answers, a => Assert.True(a.StatusCode is HttpStatusCode.Created or HttpStatusCode.Conflict, a.Text));
            Assert.All(answers.Where(a => a.StatusCode == HttpStatusCode.Conflict), a => Assert.Contains("was changed by somebody else at the same moment", a.Text, StringComparison.Ordinal));
            var kept = answers.Count(a => a.StatusCode == HttpStatusCode.Created);
            Assert.Equal(kept, (await app.GetAsync($"/api/programmes/{of.Programme}/decisions")).AsArray().Count);
            Assert.Equal(2, (await app.GetAsync($"/api/programmes/{of.Programme}"))["exercises"]!.AsArray().Count);
            met = kept is > 0 and < 5;
        }

        Assert.True(met, "No two revisions met in 20 rounds.");
    }
}
