using System.Text.Json.Nodes;
using RehabRecords.Clinical;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.Progress;

/// <summary>The rules in force and the catalogue of measures, over HTTP, and that what is computed names its entry there.</summary>
public class LookUpTests
{
    [Fact]
    public async Task The_rules_show_each_limit_with_its_range_source_and_what_the_clinic_set()
    {
        var app = new TradeApp { Settings = { ["RehabRecords:Progression:pain-during-most"] = "2", ["RehabRecords:Adherence:Percent"] = "75" } };
        await ((IAsyncLifetime)app).InitializeAsync();
        try
        {
            var rules = await app.GetAsync("/api/rules");
            var limits = rules["progression"]!["limits"]!.AsArray().ToDictionary(l => (string)l!["id"]!, l => l!);
            Assert.Equal(ProgressionRules.Default.Limits.Select(l => l.Id), limits.Keys);
            Assert.Equal((2m, 3m, 0m, 10m), ((decimal)limits["pain-during-most"]["value"]!, (decimal)limits["pain-during-most"]["shipped"]!, (decimal)limits["pain-during-most"]["from"]!, (decimal)limits["pain-during-most"]["to"]!));
            Assert.Contains("set by the clinic", (string?)limits["pain-during-most"]["source"]!["citation"]);
            Assert.Equal("common-practice", (string?)limits["pain-rise"]["source"]!["mark"]);
            Assert.Equal("pain-during-most 2 instead of 3", (string?)rules["progression"]!["clinicChanges"]);
            Assert.Equal(("clinic", 75m, true), ((string)rules["adherence"]!["id"]!, (decimal)rules["adherence"]!["percent"]!, (bool)rules["adherence"]!["strict"]!));
            Assert.Equal(SafetyScreen.Catalogue.Select(f => $"{f.Code}/{f.Urgency.Code()}/{f.Text}"), rules["redFlags"]!.AsArray().Select(f => $"{f!["code"]}/{f["urgency"]}/{f["text"]}"));
            Assert.Equal(Cautions.Catalogue.Select(c => c.Code), rules["cautions"]!.AsArray().Select(c => (string)c!["code"]!));
            Assert.Equal(Cautions.Temperatures.Select(t => t.Celsius), rules["temperatures"]!.AsArray().Select(t => (decimal)t!["celsius"]!));

            // What a session is answered with names the version that is shown here.
            var of = await app.ProgrammeAsync();
            var answer = await app.PostAsync("/api/sessions", TradeApp.Session(of));
            var suggestion = answer["suggestions"]![0]!;
            Assert.Equal((string?)rules["progression"]!["version"], (string?)suggestion["ruleSet"]);
            Assert.Equal("pain-during-most 2 instead of 3", (string?)suggestion["clinicChanges"]);
            Assert.Equal("clinic", (string?)answer["adherence"]!["definition"]);
            Assert.Contains("more than 75 % of what was prescribed", (string?)answer["note"]!["text"]);

            // One exercise was done and the other skipped on that day, which the programme's count does not tell apart.
            var progress = (await app.GetAsync($"/api/people/{of.Person}/progress"))["programmes"]![0]!;
            Assert.Equal(["coin-stacking 1/0 clinic", "key-turning 0/1 clinic"], progress["adherenceByExercise"]!.AsArray()
                .Select(e => $"{e!["exercise"]} {e["adherence"]!["done"]}/{e["adherence"]!["notDone"]} {e["adherence"]!["definition"]}"));
        }
        finally
        {
            await ((IAsyncLifetime)app).DisposeAsync();
        }
    }

    [Fact]
    public async Task Every_threshold_and_norm_of_a_persons_progress_is_found_in_the_catalogue_by_its_id()
    {
        var app = new TradeApp();
        await ((IAsyncLifetime)app).InitializeAsync();
        try
        {
            var of = await app.ProgrammeAsync();
            foreach (var (day, value) in new[] { ("02", "14"), ("12", "20") })
                await app.PostAsync("/api/measures", JsonNode.Parse($$"""
                    { "person": "{{of.Person}}", "measure": "grip-strength", "side": "right", "unit": "kgf", "measuredAt": "2026-06-{{day}}T11:00:00+01:00", "value": {{value}} }
                    """)!);
            var catalogue = (await app.GetAsync("/api/measures/catalogue")).AsArray().ToDictionary(m => (string)m!["id"]!, m => m!);
            Assert.Equal(MeasureCatalogue.Default.All.Select(m => m.Id), catalogue.Keys);
            Assert.Equal(["kgf", "[lbf_av]", "N"], catalogue["grip-strength"]["units"]!.AsArray().Select(u => (string)u!));
            Assert.All(catalogue.Values.SelectMany(m => m["thresholds"]!.AsArray()), t => Assert.Equal((string?)t!["source"]!["mark"] != "from-memory", (bool)t["classifies"]!));

            var progress = (await app.GetAsync($"/api/people/{of.Person}/progress"))["programmes"]![0]!;
            var change = progress["changes"]![0]!;
            var row = catalogue["grip-strength"]["thresholds"]!.AsArray().Single(t => (string?)t!["id"] == (string?)change["detectable"]!["row"])!;
            Assert.Equal((decimal?)row["value"], (decimal?)change["detectable"]!["value"]);
            Assert.Equal((string?)row["source"]!["citation"], (string?)change["detectable"]!["source"]);
            var norm = progress["norms"]![0]!;
            var table = catalogue["grip-strength"]["norms"]!.AsArray().Single(t => (string?)t!["id"] == (string?)norm["table"])!;
            Assert.Contains(table["cells"]!.AsArray(), c => (decimal?)c!["mean"] == (decimal?)norm["mean"] && (decimal?)c!["sd"] == (decimal?)norm["sd"]);
            Assert.True((bool)norm["confirmed"]!);
        }
        finally
        {
            await ((IAsyncLifetime)app).DisposeAsync();
        }
    }

    [Fact]
    public async Task The_T_scores_at_the_start_and_now_are_over_the_same_goals()
    {
        var app = new TradeApp();
        await ((IAsyncLifetime)app).InitializeAsync();
        try
        {
            const string Levels = """{ "-2": "a", "-1": "b", "0": "c", "+1": "d", "+2": "e" }""";
            var of = await app.ProgrammeAsync(("goals", $$"""[{ "description": "one", "due": "2026-07-01", "levels": {{Levels}} }, { "description": "two", "due": "2026-07-01", "levels": {{Levels}} }]"""));
            var goals = (await app.GetAsync($"/api/programmes/{of.Programme}"))["goals"]!.AsArray().Select(g => (string)g!["id"]!).ToList();
            async Task LevelAsync(string goal, string day, int level) => await app.PostAsync("/api/measures", JsonNode.Parse($$"""
                { "person": "{{of.Person}}", "measure": "gas-level", "goal": "{{goal}}", "unit": "{score}", "value": {{level}}, "measuredAt": "2026-06-{{day}}T11:00:00+01:00" }
                """)!);
            await LevelAsync(goals[0], "01", -1);
            await LevelAsync(goals[0], "12", 1);
            await LevelAsync(goals[1], "01", -2);
            var attainment = (await app.GetAsync($"/api/people/{of.Person}/progress"))["programmes"]![0]!["goalAttainment"]!;
            // One goal of weight 1: T = 50 + 10 x. The second has no later level, so it enters neither score.
            Assert.Equal((40.0, 60.0, 20.0), ((double)attainment["baseline"]!, (double)attainment["outcome"]!, (double)attainment["change"]!));
            Assert.Equal([goals[0]], attainment["goals"]!.AsArray().Select(g => (string)g!));
            Assert.Equal("two: no level at the start", (string?)Assert.Single(attainment["leftOut"]!.AsArray()));
        }
        finally
        {
            await ((IAsyncLifetime)app).DisposeAsync();
        }
    }
}
