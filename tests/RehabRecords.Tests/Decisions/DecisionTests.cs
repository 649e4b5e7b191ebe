using System.Net;
using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Store;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.Decisions;

/// <summary>It is noon of 15 June 2026 in the tests. All people are invented.</summary>
public class DecisionTests(TradeApp app) : IClassFixture<TradeApp>
{
    private const string By = """{ "name": "Rowan Invented", "role": "physiotherapist" }""";

    /// <summary>Coins practised well on every day from the 12th, when the programme begins, to the 14th: three successes, so that a step ahead is suggested.</summary>
    private async Task<(string Person, string Programme)> GoingWellAsync(int to = 14)
    {
        var of = await app.ProgrammeAsync(("start", "\"2026-06-12\""));
        for (var day = 12; day <= to; day++)
            await app.PostAsync("/api/sessions", Well(of, day));
        return of;
    }

    private static JsonObject Well((string Person, string Programme) of, int day) =>
        TradeApp.Session(of, ("doneAt", $"\"2026-06-{day:00}T10:00:00+01:00\""), ("exercises[0].painDuring", "1"));

    private static JsonObject Decision(string decision, params (string Path, string? Json)[] changes) =>
        TradeApp.With($$"""{ "exercise": "coin-stacking", "decision": "{{decision}}", "by": {{By}} }""", changes);

    private static JsonObject Advance => Decision("advance", ("grading", """{ "dimension": "object" }"""));

    private async Task<JsonNode> SuggestionAsync(string person, string exercise = "coin-stacking") =>
        (await app.GetAsync($"/api/people/{person}/progress"))["programmes"]![0]!["suggestions"]!.AsArray().Single(s => (string?)s!["exercise"] == exercise)!;

    private async Task<JsonNode> NoteAsync(string person) =>
        await app.GetAsync($"/api/notes/{(string)(await app.GetAsync($"/api/notes?person={person}"))[0]!["id"]!}");

    private static IEnumerable<string> Said(JsonNode note, string rule) => note["statements"]!.AsArray().Where(s => (string?)s!["rule"] == rule).Select(s => (string)s!["text"]!);

    [Fact]
    public async Task An_advance_as_suggested_is_kept_with_the_suggestion_and_puts_a_new_prescription_in_place_of_the_old()
    {
        var (person, programme) = await GoingWellAsync();
        var suggested = await SuggestionAsync(person);
        Assert.Equal("advance", (string?)suggested["suggestion"]);
        var decision = await app.PostAsync($"/api/programmes/{programme}/decisions", Advance);
        Assert.False((bool)decision["overrides"]!);
        Assert.Equal("advance-all-met", (string?)decision["suggested"]!["rule"]);
        Assert.Equal((string?)suggested["ruleSet"], (string?)decision["suggested"]!["ruleSet"]);
        Assert.Equal(suggested["inputs"]!.ToJsonString(), decision["suggested"]!["inputs"]!.ToJsonString());
        Assert.Equal(suggested["evidence"]!.ToJsonString(), decision["suggested"]!["evidence"]!.ToJsonString());
        Assert.Equal("Use smaller coins.", (string?)decision["grading"]!["text"]);
        Assert.Equal("2026-06-15", (string?)decision["from"]);

        var after = await app.GetAsync($"/api/programmes/{programme}");
        var now = after["exercises"]!.AsArray().Single(e => (string?)e!["exercise"] == "coin-stacking|1.0.0")!;
        var before = Assert.Single(after["earlier"]!.AsArray())!;
        Assert.Equal((string?)decision["prescription"], (string?)now["id"]);
        Assert.Equal((string?)decision["ended"], (string?)before["id"]);
        Assert.Equal(("2026-06-15", "2026-07-12", $"ServiceRequest/{(string?)before["id"]}"), ((string?)now["from"], (string?)now["until"], (string?)now["replaces"]));
        Assert.Equal(("2026-06-12", "2026-06-14"), ((string?)before["from"], (string?)before["until"]));
        Assert.StartsWith("The last day of this is 14 June 2026.", (string?)before["patientInstruction"], StringComparison.Ordinal);
        Assert.Contains("Use smaller coins.", (string?)now["instruction"]);
        Assert.DoesNotContain("To make it harder", (string?)now["patientInstruction"]);

        var (plan, _) = (await app.Store.GetAsync<CarePlan>(programme))!.Value;
        Assert.Equal([$"ServiceRequest/{(string?)before["id"]}", $"ServiceRequest/{(string?)now["id"]}"], plan.Activity.Take(2).Select(a => a.Reference!.Reference));
        Assert.Equal(RequestStatus.Revoked, (await app.Store.GetAsync<ServiceRequest>((string)before["id"]!))!.Value.Resource.Status);
        Assert.Equal(3, (await app.Store.FindAllAsync<Observation>($"based-on=ServiceRequest/{(string?)before["id"]}")).Count);
        Assert.Contains("Use smaller coins.", plan.Text!.Div, StringComparison.Ordinal);

        var task = (await app.Store.GetAsync<Hl7.Fhir.Model.Task>((string)decision["id"]!))!.Value.Resource;
        Assert.DoesNotContain(TestApp.SharedValidator.Validate(task), i => i.Refuses);
        Assert.Equal((string?)decision["id"], (string?)Assert.Single((await app.GetAsync($"/api/programmes/{programme}/decisions")).AsArray())!["id"]);
    }

    [Fact]
    public async Task A_decision_is_said_in_the_draft_at_once_and_the_suggestion_it_answers_is_not()
    {
        var (person, programme) = await GoingWellAsync();
        Assert.Contains(Said(await NoteAsync(person), "suggest-advance"), s => s.StartsWith("Suggestion for Stacking coins", StringComparison.Ordinal));
        var decision = await app.PostAsync($"/api/programmes/{programme}/decisions",
            Decision("hold", ("reason", "\"A new splint comes on Thursday\""), ("lock", "true"), ("by.registration", "\"PH-44\"")));
        Assert.True((bool)decision["overrides"]!);
        Assert.Null(decision["prescription"]);

        var note = await NoteAsync(person);
        Assert.Equal(
            ["Decision on 15 June 2026, Rowan Invented, physiotherapist, registration PH-44, for Stacking coins (right hand): hold, overriding the suggestion to advance, because “A new splint comes on Thursday” It holds from 15 June 2026; the level is locked."],
            Said(note, "decision"));
        Assert.Empty(Said(note, "suggest-advance"));
        Assert.Contains(Said(note, "suggest-hold"), s => s.Contains("Stacking coins (right hand): carry on as prescribed. A clinician has locked the level. Rule hold-locked", StringComparison.Ordinal));
        Assert.Contains($"Task/{(string?)decision["id"]}/_history/1", note["statements"]!.AsArray().Single(s => (string?)s!["rule"] == "decision")!["evidence"]!.AsArray().Select(e => (string?)e));

        // The draft made with the decision is the one that is made from the store.
        Assert.Equal((string?)note["composition"], (string?)(await app.PostAsync("/api/notes", new JsonObject { ["programme"] = programme }))["composition"]);
    }

    [Fact]
    public async Task The_note_as_a_document_holds_the_decision_and_both_prescriptions()
    {
        var (person, programme) = await GoingWellAsync();
        var decision = await app.PostAsync($"/api/programmes/{programme}/decisions", Advance);
        using var request = new HttpRequestMessage(HttpMethod.Get, (string)(await NoteAsync(person))["address"]!) { Headers = { { "Accept", "application/fhir+json" } } };
        using var response = await app.Http.SendAsync(request);
        Assert.Equal(HttpStatusCode.OK, response.StatusCode);
        var document = (Bundle)RehabRecords.Fhir.Parsing.ResourceReader.Read(await response.Content.ReadAsByteArrayAsync(), RehabRecords.Fhir.Parsing.FhirFormat.Json);
        Assert.DoesNotContain(TestApp.SharedValidator.Validate(document), i => i.Refuses);
        var held = document.Entry.Select(e => $"{e.Resource!.TypeName}/{e.Resource.Id}").ToHashSet();
        Assert.Subset(held, new HashSet<string> { $"Task/{(string?)decision["id"]}", $"ServiceRequest/{(string?)decision["prescription"]}", $"ServiceRequest/{(string?)decision["ended"]}" });
    }

    [Fact]
    public async Task After_an_advance_the_suggestion_stays_answered_until_the_new_level_has_been_practised()
    {
        var of = await GoingWellAsync();
        var decision = await app.PostAsync($"/api/programmes/{of.Programme}/decisions", Advance);
        Assert.Equal((string?)decision["id"], (string?)(await SuggestionAsync(of.Person))["answered"]);
        Assert.Empty(Said(await NoteAsync(of.Person), "suggest-advance"));
        await app.RefusedAsync($"/api/programmes/{of.Programme}/decisions", Decision("advance", ("grading", """{ "dimension": "speed", "text": "Within a minute." }""")).ToJsonString(),
            HttpStatusCode.UnprocessableEntity, "decision", "decision is advance, and the present level, from 2026-06-15, has no result yet; at least one session at a level comes before the next step");

        await app.PostAsync("/api/sessions", Well(of, 15));
        var suggested = await SuggestionAsync(of.Person);
        Assert.Equal(("hold", "hold-few-reports"), ((string?)suggested["suggestion"], (string?)suggested["rule"]));
        Assert.Null(suggested["answered"]);
        Assert.Equal((string?)decision["prescription"], Assert.Single(await app.Store.FindAllAsync<Observation>($"based-on=ServiceRequest/{(string?)decision["prescription"]}")).BasedOn[0].Reference!.Split('/')[1]);
    }

    [Fact]
    public async Task A_lock_holds_every_later_suggestion_until_a_later_decision_unlocks_it()
    {
        var of = await GoingWellAsync(13);
        await app.PostAsync($"/api/programmes/{of.Programme}/decisions", Decision("hold", ("reason", "\"Wait for the splint.\""), ("lock", "true"), ("from", "\"2026-06-14\"")));
        await app.PostAsync("/api/sessions", Well(of, 14));
        var locked = await SuggestionAsync(of.Person);
        Assert.Equal(("hold-locked", "a clinician has locked the level"), ((string?)locked["rule"], (string?)locked["reason"]));
        await app.PostAsync($"/api/programmes/{of.Programme}/decisions", Decision("hold", ("lock", "false")));
        Assert.Equal("advance", (string?)(await SuggestionAsync(of.Person))["suggestion"]);
    }

    [Fact]
    public async Task A_step_back_in_a_dimension_takes_the_place_of_the_step_taken_in_it_before()
    {
        var of = await GoingWellAsync();
        await app.PostAsync($"/api/programmes/{of.Programme}/decisions", Advance);
        await app.PostAsync("/api/sessions", Well(of, 15));
        await app.PostAsync($"/api/programmes/{of.Programme}/decisions", Decision("step-back",
            ("grading", """{ "dimension": "object", "text": "Use the largest coins." }"""), ("dosage", """{ "repetitions": 14 }"""), ("reason", "\"The small ones slip.\"")));
        var now = (await app.GetAsync($"/api/programmes/{of.Programme}"))["exercises"]![0]!;
        Assert.Equal("Use the largest coins.", (string?)now["instruction"]);
        Assert.Equal((14, "2026-06-16"), ((int?)now["dosage"]!["repetitions"], (string?)now["from"]));
        Assert.Equal(["2026-06-12 to 2026-06-14", "2026-06-15 to 2026-06-15"],
            (await app.GetAsync($"/api/programmes/{of.Programme}"))["earlier"]!.AsArray().Select(e => $"{(string?)e!["from"]} to {(string?)e["until"]}"));
        Assert.Contains("To make it harder (object): Use smaller coins.", (string?)now["patientInstruction"]);
    }

    [Fact]
    public async Task What_is_stopped_is_due_no_more_and_its_results_stay()
    {
        var of = await GoingWellAsync();
        var decision = await app.PostAsync($"/api/programmes/{of.Programme}/decisions", Decision("stop", ("reason", "\"The goal is reached.\"")));
        Assert.True((bool)decision["overrides"]!);
        Assert.Equal(["key-turning|1.0.0"], (await app.GetAsync($"/api/programmes/{of.Programme}"))["exercises"]!.AsArray().Select(e => (string?)e!["exercise"]));
        await app.RefusedAsync($"/api/programmes/{of.Programme}/decisions", Decision("hold").ToJsonString(), HttpStatusCode.UnprocessableEntity, "exercise",
            "exercise is 'coin-stacking', which was stopped after 2026-06-14; add it anew by a revision of the programme");
        await app.RefusedAsync($"/api/programmes/{of.Programme}/decisions", Decision("stop", ("exercise", "\"key-turning\""), ("reason", "\"All done.\"")).ToJsonString(),
            HttpStatusCode.UnprocessableEntity, "", "Nothing would be prescribed any more");

        var session = await app.PostAsync("/api/sessions", Well(of, 15));
        // Computed: 3 days of 3 sets of 12 until the 14th, and nothing after.
        Assert.Equal(3 * 3 * 12, session["dose"]!.AsArray().Where(d => (string?)d!["exercise"] == "coin-stacking").Sum(d => (int?)d!["planned"]));
    }

    [Fact]
    public async Task No_advance_while_a_red_flag_is_open_and_clearing_it_redoes_the_draft()
    {
        var of = await GoingWellAsync(13);
        var session = await app.PostAsync("/api/sessions", TradeApp.With(Well(of, 14).ToJsonString(), ("redFlags", """["dizziness"]""")));
        var flag = (string)session["flags"]![0]!["id"]!;
        await app.RefusedAsync($"/api/programmes/{of.Programme}/decisions", TradeApp.With(Advance.ToJsonString(), ("reason", "\"She feels well again.\"")).ToJsonString(),
            HttpStatusCode.UnprocessableEntity, "decision", "decision is advance while open red flag", "clear the flag first");
        Assert.NotEmpty(Said(await NoteAsync(of.Person), "flag-outstanding"));
        await app.PostAsync($"/api/flags/{flag}/clearance", JsonNode.Parse($$"""{ "by": {{By}}, "reason": "Blood pressure taken lying and standing; tablets reviewed." }""")!);
        var note = await NoteAsync(of.Person);
        Assert.Empty(Said(note, "flag-outstanding"));
        Assert.NotEmpty(Said(note, "suggest-advance"));
        Assert.Equal((string?)note["composition"], (string?)(await app.PostAsync("/api/notes", new JsonObject { ["programme"] = of.Programme }))["composition"]);
        Assert.Equal("advance", (string?)(await app.PostAsync($"/api/programmes/{of.Programme}/decisions", Advance))["decision"]);
    }

    [Theory]
    [InlineData("hold", "exercise", null, "exercise", "exercise is missing; give the id of the prescription")]
    [InlineData("hold", "exercise", "\"juggling\"", "exercise", "exercise is 'juggling', which this programme does not have; use one of: coin-stacking, key-turning")]
    [InlineData("hold", "decision", "\"faster\"", "decision", "decision is 'faster', which is not a decision; use one of: advance, hold, step-back, stop")]
    [InlineData("hold", "by", null, "by", "by is missing; give the clinician who decides")]
    [InlineData("hold", "by.role", "\"carer\"", "by.role", "by.role is 'carer', which is not a clinician's role")]
    [InlineData("hold", "grading", """{ "dimension": "object" }""", "grading", "grading is given with hold, which takes no step")]
    [InlineData("hold", "dosage", """{ "sets": 4 }""", "dosage", "dosage is given with hold, which changes no dosage")]
    [InlineData("hold", "from", "\"2026-05-31\"", "from", "from is 2026-05-31, and the programme runs from 2026-06-01 to 2026-07-12; give a day of it")]
    [InlineData("hold", "from", "\"2026-06-10\"", "from", "from is 2026-06-10, and coin-stacking has a result of 2026-06-10, practised as it was prescribed then; give a day from 2026-06-11 on")]
    [InlineData("advance", "reason", "\"Ready for it.\"", "grading", "grading is missing, and so is dosage; say which one step advance takes")]
    [InlineData("advance", "grading", """{ "dimension": "loudness" }""", "grading.dimension", "grading.dimension is 'loudness', which is not a dimension; use one of: speed, vision")]
    [InlineData("advance", "grading", """{ "dimension": "speed" }""", "grading.text", "grading.text is missing, and the exercise has not one harder grading of speed left", "object: Use smaller coins.")]
    [InlineData("advance", "grading", """{ "dimension": "object" }""", "reason", "reason is missing, and advance departs from the suggestion (hold:")]
    [InlineData("advance", "dosage", """{ "repetitions": 5 }""", "dosage", "which is less than the present", "advance goes the other way")]
    [InlineData("advance", "dosage", """{ "repetitions": 12 }""", "dosage", "dosage is what is prescribed already, so nothing would change")]
    [InlineData("stop", "from", "\"2026-06-20\"", "reason", "reason is missing; say why the exercise is stopped")]
    [InlineData("stop", "lock", "true", "lock", "lock is given with stop")]
    public async Task A_decision_that_cannot_stand_is_refused_and_nothing_is_stored(string decision, string path, string? json, string field, params string[] says)
    {
        var of = await app.ProgrammeAsync();
        await app.PostAsync("/api/sessions", TradeApp.Session(of));
        await app.RefusedAsync($"/api/programmes/{of.Programme}/decisions", Decision(decision, (path, json)).ToJsonString(), HttpStatusCode.UnprocessableEntity, field, says);
    }

    [Fact]
    public async Task Two_dimensions_at_once_are_refused()
    {
        var of = await GoingWellAsync();
        await app.RefusedAsync($"/api/programmes/{of.Programme}/decisions", TradeApp.With(Advance.ToJsonString(), ("dosage", """{ "sets": 5 }""")).ToJsonString(),
            HttpStatusCode.UnprocessableEntity, "dosage", "dosage makes it more and grading changes object too; take one step in one dimension at a time");
    }

    [Fact]
    public async Task A_programme_of_nobody_has_no_decisions()
    {
        using var read = await app.Http.GetAsync("/api/programmes/none/decisions");
        Assert.Equal(HttpStatusCode.NotFound, read.StatusCode);
        using var write = await app.Http.PostAsync("/api/programmes/none/decisions", TestApp.Json(Decision("hold")));
        Assert.Equal(HttpStatusCode.NotFound, write.StatusCode);
    }

    [Fact]
    public async Task A_repeated_decision_is_answered_once_by_its_key()
    {
        var of = await GoingWellAsync(12);
        async Task<string> PostAsync()
        {
            using var request = new HttpRequestMessage(HttpMethod.Post, $"/api/programmes/{of.Programme}/decisions") { Content = TestApp.Json(Decision("hold")) };
            request.Headers.Add("Idempotency-Key", $"decision-{of.Programme}");
            using var response = await app.Http.SendAsync(request);
            Assert.Equal(HttpStatusCode.Created, response.StatusCode);
            return await response.Content.ReadAsStringAsync();
        }

        Assert.Equal(await PostAsync(), await PostAsync());
        Assert.Single((await app.GetAsync($"/api/programmes/{of.Programme}/decisions")).AsArray());
    }

    [Fact]
    public async Task Of_decisions_about_one_exercise_at_once_each_is_kept_or_told_of_the_conflict_and_sessions_go_on()
    {
        // Requests that happen to come one after the other do not meet; in a few rounds some do.
        var met = false;
        for (var round = 0; round < 20 && !met; round++)
        {
            var of = await GoingWellAsync(12);
            var decisions = Enumerable.Range(0, 6).Select(async i =>
            {
                using var response = await app.Http.PostAsync($"/api/programmes/{of.Programme}/decisions", TestApp.Json(Decision("hold", ("reason", $"\"Reason {i}.\""))));
                return (response.StatusCode, Text: await response.Content.ReadAsStringAsync());
            }).ToList();
            var sessions = Enumerable.Range(13, 2).Select(day => app.PostAsync("/api/sessions", Well(of, day))).ToList();
            var answers = await System.Threading.Tasks.Task.WhenAll(decisions);
            await System.Threading.Tasks.Task.WhenAll(sessions);

            Assert.All(answers, a => Assert.True(a.StatusCode is HttpStatusCode.Created or HttpStatusCode.Conflict, a.Text));
            Assert.All(answers.Where(a => a.StatusCode == HttpStatusCode.Conflict), a => Assert.Contains("decided at the same moment", a.Text, StringComparison.Ordinal));
            var kept = (await app.GetAsync($"/api/programmes/{of.Programme}/decisions")).AsArray();
            Assert.NotEmpty(kept);
            Assert.Equal(answers.Where(a => a.StatusCode == HttpStatusCode.Created).Select(a => (string)JsonNode.Parse(a.Text)!["id"]!).Order(StringComparer.Ordinal),
                kept.Select(k => (string)k!["id"]!).Order(StringComparer.Ordinal));
            Assert.Equal(3, (await app.GetAsync($"/api/sessions?programme={of.Programme}")).AsArray().Count);
            var note = await NoteAsync(of.Person);
            Assert.Equal((string?)note["composition"], (string?)(await app.PostAsync("/api/notes", new JsonObject { ["programme"] = of.Programme }))["composition"]);
            met = answers.Any(a => a.StatusCode == HttpStatusCode.Conflict);
        }

        Assert.True(met, "No two decisions met in 20 rounds.");
    }
}
