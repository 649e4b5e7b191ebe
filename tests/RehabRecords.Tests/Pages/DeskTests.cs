using System.Net;
using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Store;
using RehabRecords.Tests.Programmes;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.Pages;

public class DeskTests(TradeApp app) : IClassFixture<TradeApp>
{
    private static readonly (string, string)[] By = [("by.name", "Rowan Invented"), ("by.role", "physiotherapist")];

    private async Task<(string Person, string Programme)> DraftAsync() => await app.ProgrammeAsync(("status", "\"draft\""));

    private async Task<JsonNode> ProgrammeAsync(string id) => await app.GetAsync($"/api/programmes/{id}");

    private static (string, string)[] Beginning(params (string Name, string Value)[] more) =>
        [("levelReason", ""), ("side", "right"), ("start", "2026-06-16"), ("painLimit", "4"), ("author.name", "Rowan Invented"), ("author.role", "physiotherapist"), .. more];

    [Fact]
    public async Task A_new_programme_shows_what_the_record_proposes_with_its_source_and_begins_as_a_draft()
    {
        var person = await app.PersonAsync();
        await app.PostAsync("/api/templates", JsonNode.Parse("""
            { "code": "banded-tasks", "version": "1.0.0", "title": "Banded tasks", "description": "By capacity.",
              "levels": [
                { "level": 1, "title": "First", "capacityBands": ["poor"], "exercises": [{ "exercise": "towel-wiping|1.0.0" }] },
                { "level": 2, "title": "Second", "capacityBands": ["notable"], "exercises": [{ "exercise": "coin-stacking|1.0.0" }, { "exercise": "key-turning|1.0.0" }] } ] }
            """)!);
        await app.PostAsync("/api/measures", TradeApp.With(
            """{ "measure": "arat", "side": "right", "value": 50, "unit": "{score}", "status": "completed", "measuredAt": "2026-06-12T10:00:00+01:00", "assessor": { "name": "Rowan Invented", "role": "physiotherapist" } }""",
            ("person", $"\"{person}\"")));
        var browser = new Browser(app);
        var page = await browser.OpenAsync($"/people/{person}/programmes/new");
        Assert.Contains("Level 2: Second (proposed)", page.Text);
        Assert.Contains("Level 2 is proposed", page.Text);
        Assert.Contains("Hoonhorst", page.Text);
        Assert.Contains("No level is proposed", page.Text);

        // Another level than the proposed one asks for a reason, and what was typed stays.
        var refused = await browser.PostAsync(page, $"/people/{person}/programmes/new", Beginning(("template", "banded-tasks|1.0.0 1"), ("title", "Towels for a start")));
        Assert.Equal(HttpStatusCode.UnprocessableEntity, refused.Status);
        Assert.Contains("give why level 1 was chosen instead of the one proposed", refused.Wrong("levelReason"), StringComparison.Ordinal);
        Assert.Contains("value=\"Towels for a start\"", refused.Html);
        Assert.Contains("checked", refused.Tag("from-banded-tasks-1-0-0-1"));

        var begun = await browser.PostAsync(refused, $"/people/{person}/programmes/new", Beginning(("template", "banded-tasks|1.0.0 2")));
        Assert.Equal(HttpStatusCode.SeeOther, begun.Status);
        var draft = await ProgrammeAsync(begun.Location!.Split('/')[2]);
        Assert.Equal(("draft", 2, 4), ((string?)draft["status"], (int)draft["level"]!, (int)draft["painLimit"]!));
        Assert.Contains("notable capacity, by an Action Research Arm Test", (string?)draft["levelReason"], StringComparison.Ordinal);
        Assert.Equal(["Stacking coins", "Turning a key"], draft["exercises"]!.AsArray().Select(e => (string?)e!["title"]));

        // The same form sent twice begins one draft.
        Assert.Equal(begun.Location, (await browser.PostAsync(refused, $"/people/{person}/programmes/new", Beginning(("template", "banded-tasks|1.0.0 2")))).Location);
        Assert.Single((await app.GetAsync($"/api/programmes?person={person}")).AsArray());
    }

    [Fact]
    public async Task An_exercise_that_another_system_stored_twice_keeps_nobody_from_beginning_a_programme()
    {
        var person = await app.PersonAsync();
        var twice = (await app.GetAsync("/fhir/ActivityDefinition?_count=1"))["entry"]![0]!["resource"]!.AsObject();
        twice.Remove("id");
        twice["meta"]!.AsObject().Remove("versionId");
        twice.Remove("identifier");
        using var stored = await app.Http.PostAsync("/fhir/ActivityDefinition", TestApp.Json(twice, "application/fhir+json"));
        Assert.Equal(HttpStatusCode.Created, stored.StatusCode);

        var browser = new Browser(app);
        foreach (var page in new[] { $"/people/{person}/programmes/new", $"/programmes/{(await DraftAsync()).Programme}/desk", "/library" })
            Assert.Contains((string)twice["title"]!, (await browser.OpenAsync(page)).Text);
    }

    [Fact]
    public async Task A_programme_of_the_library_needs_a_reason_and_an_exercise()
    {
        var person = await app.PersonAsync();
        var browser = new Browser(app);
        var page = await browser.OpenAsync($"/people/{person}/programmes/new");
        var state = app.State();
        var nothing = await browser.PostAsync(page, $"/people/{person}/programmes/new", Beginning());
        Assert.Contains("choose a level of a template, or the library", nothing.Wrong("template"), StringComparison.Ordinal);
        var bare = await browser.PostAsync(page, $"/people/{person}/programmes/new", Beginning(("template", "library"), ("painLimit", "eleven")));
        Assert.Contains("choose at least one", bare.Wrong("exercises"), StringComparison.Ordinal);
        Assert.Contains("levelReason is missing", bare.Wrong("levelReason"), StringComparison.Ordinal);
        Assert.Equal(state, app.State());
        var begun = await browser.PostAsync(page, $"/people/{person}/programmes/new",
            Beginning(("template", "library"), ("exercises", "key-turning|1.0.0"), ("exercises", "towel-wiping|1.0.0"), ("levelReason", "What she wants to do at home.")));
        Assert.Equal(HttpStatusCode.SeeOther, begun.Status);
        Assert.Equal(2, (await ProgrammeAsync(begun.Location!.Split('/')[2]))["exercises"]!.AsArray().Count);
    }

    [Fact]
    public async Task Every_part_of_a_draft_is_tailored_on_the_desk()
    {
        var draft = await DraftAsync();
        var browser = new Browser(app);
        var page = await browser.OpenAsync($"/programmes/{draft.Programme}/desk");
        Assert.Contains("DRAFT", page.Text);
        Assert.Contains("3 sets of 12 repetitions", page.Text);
        var saved = await browser.PostAsync(page, $"/programmes/{draft.Programme}/desk", page.Changed(
            ("title", "Coins by the window"), ("end", "2026-07-05"), ("painLimit", "3"), ("timeZone", "Europe/Dublin"), ("levelReason", "She asked for coins."),
            ("exercises[0].side", "both"), ("exercises[0].handOrder", "both-together"), ("exercises[0].position", "standing"), ("exercises[0].helpLevel", "verbal-prompt"),
            ("exercises[0].dosage.sets", "2"), ("exercises[0].dosage.repetitions", "8"), ("exercises[0].dosage.holdSeconds", "4"), ("exercises[0].dosage.restSeconds", "20"),
            ("exercises[0].dosage.minutes", "7.5"), ("exercises[0].dosage.tempo", "calm"), ("exercises[0].schedule.timesPerDay", "2"), ("exercises[0].schedule.daysOfWeek", "mon"),
            ("exercises[0].schedule.daysOfWeek", "fri"), ("exercises[0].schedule.timesOfDay", "09:00, 16:30"), ("exercises[0].instruction", "By the window."),
            ("exercises[1].out", "yes"), ("add.exercise", "towel-wiping|1.0.0"), ("add.side", "left"),
            ("goals[0].description", "Pay at the market."), ("goals[0].due", "2026-07-05"), ("goals[0].importance", "3"),
            ("goals[0].levels.-2", "a"), ("goals[0].levels.-1", "b"), ("goals[0].levels.0", "c"), ("goals[0].levels.+1", "d"), ("goals[0].levels.+2", "e"),
            ("reporting.setting", "Kitchen table."), ("reporting.tailored", "tailored")));
        Assert.True(saved.Status == HttpStatusCode.SeeOther, saved.Text);
        var now = await ProgrammeAsync(draft.Programme);
        Assert.Equal(("Coins by the window", "2026-07-05", 3, "Europe/Dublin", "She asked for coins."),
            ((string?)now["title"], (string?)now["end"], (int)now["painLimit"]!, (string?)now["timeZone"], (string?)now["levelReason"]));
        Assert.Equal(["Stacking coins", "Wiping with a towel"], now["exercises"]!.AsArray().Select(e => (string?)e!["title"]));
        var coins = now["exercises"]![0]!;
        Assert.Equal(("both", "both-together", "standing", "verbal-prompt", "By the window."),
            ((string?)coins["side"], (string?)coins["handOrder"], (string?)coins["position"], (string?)coins["helpLevel"], (string?)coins["instruction"]));
        Assert.Equal("""{"sets":2,"repetitions":8,"holdSeconds":4,"restSeconds":20,"minutes":7.5,"tempo":"calm"}""", coins["dosage"]!.ToJsonString());
        Assert.Equal("""{"timesPerDay":2,"daysOfWeek":["mon","fri"],"timesOfDay":["09:00","16:30"]}""", coins["schedule"]!.ToJsonString());
        Assert.Equal("left", (string?)now["exercises"]![1]!["side"]);
        Assert.Equal("Pay at the market.", (string?)Assert.Single(now["goals"]!.AsArray())!["description"]);
        Assert.Equal(("Kitchen table.", "tailored"), ((string?)now["reporting"]!["setting"], (string?)now["reporting"]!["tailored"]));
        Assert.Equal("Rowan Invented, physiotherapist", (string?)now["author"]);

        // What is stored stands in the fields again, and saving it as it is changes nothing.
        var again = await browser.OpenAsync($"/programmes/{draft.Programme}/desk");
        Assert.Equal(HttpStatusCode.SeeOther, (await browser.PostAsync(again, $"/programmes/{draft.Programme}/desk", again.Fields)).Status);
        Assert.Equal(now.ToJsonString(), (await ProgrammeAsync(draft.Programme)).ToJsonString());
    }

    [Fact]
    public async Task What_is_refused_is_told_beside_the_field_and_nothing_that_was_typed_is_lost()
    {
        var draft = await DraftAsync();
        var browser = new Browser(app);
        var page = await browser.OpenAsync($"/programmes/{draft.Programme}/desk");
        var state = app.State();
        var refused = await browser.PostAsync(page, $"/programmes/{draft.Programme}/desk", page.Changed(
            ("title", "Typed & kept"), ("exercises[0].dosage.sets", "200"), ("exercises[1].dosage.minutes", "ten"), ("exercises[1].schedule.timesOfDay", "9 o'clock"),
            ("goals[0].description", "Half a goal <b>"), ("painLimit", "12")));
        Assert.Equal(HttpStatusCode.BadRequest, (await browser.PostAsync(page with { Token = "forged" }, $"/programmes/{draft.Programme}/desk", page.Fields)).Status);
        Assert.Equal(HttpStatusCode.UnprocessableEntity, refused.Status);
        Assert.Contains("goals[0].description contains the HTML tag", refused.Text);
        refused = await browser.PostAsync(page, $"/programmes/{draft.Programme}/desk", page.Changed(
            ("title", "Typed & kept"), ("exercises[0].dosage.sets", "200"), ("exercises[1].dosage.minutes", "ten"), ("exercises[1].schedule.timesOfDay", "9 o'clock"),
            ("goals[0].description", "Half a goal"), ("painLimit", "12")));
        Assert.Contains("give a number of sets from 1 to 100", refused.Wrong("exercises-0--dosage-sets"), StringComparison.Ordinal);
        Assert.Contains("is 'ten'; give a number in figures", refused.Wrong("exercises-1--dosage-minutes"), StringComparison.Ordinal);
        Assert.Contains("give a time from 00:00 to 23:59", refused.Wrong("exercises-1--schedule-timesOfDay"), StringComparison.Ordinal);
        Assert.Contains("describe the level", refused.Wrong("goals-0--levels"), StringComparison.Ordinal);
        Assert.Contains("give a whole number from 0 to 10", refused.Wrong("painLimit"), StringComparison.Ordinal);
        Assert.Contains("Typed &amp; kept", refused.Html);
        Assert.Contains(("exercises[1].dosage.minutes", "ten"), refused.Fields);
        Assert.Contains(("goals[0].description", "Half a goal"), refused.Fields);
        Assert.Contains("href=\"#exercises-0--dosage-sets\"", refused.Html);
        Assert.Equal(state, app.State());
    }

    [Fact]
    public async Task Of_two_at_one_desk_the_second_is_told_and_keeps_what_was_typed()
    {
        var draft = await DraftAsync();
        var (one, two) = (new Browser(app), new Browser(app));
        var (first, second) = (await one.OpenAsync($"/programmes/{draft.Programme}/desk"), await two.OpenAsync($"/programmes/{draft.Programme}/desk"));
        Assert.Equal(HttpStatusCode.SeeOther, (await one.PostAsync(first, $"/programmes/{draft.Programme}/desk", first.Changed(("title", "Hers")))).Status);
        var refused = await two.PostAsync(second, $"/programmes/{draft.Programme}/desk", second.Changed(("title", "His")));
        Assert.Equal(HttpStatusCode.PreconditionFailed, refused.Status);
        Assert.Contains("Somebody else has saved this draft", refused.Text);
        Assert.Equal("title: saved now is “Hers”, typed is “His”.", refused.Wrong("title"));
        Assert.Contains(("title", "His"), refused.Fields);
        Assert.Equal("Hers", (string?)(await ProgrammeAsync(draft.Programme))["title"]);
        Assert.Equal(HttpStatusCode.PreconditionFailed, (await two.PostAsync(second, $"/programmes/{draft.Programme}/desk/activation", [("version", "1"), .. By])).Status);
        Assert.Equal("draft", (string?)(await ProgrammeAsync(draft.Programme))["status"]);
    }

    [Fact]
    public async Task The_desk_shows_cautions_with_their_source_what_is_missing_with_the_way_to_it_and_the_reading_age()
    {
        var draft = await DraftAsync();
        await app.PostAsync($"/api/people/{draft.Person}/precautions", JsonNode.Parse("""{ "code": "shoulder-pain", "by": { "name": "Rowan Invented", "role": "physiotherapist" } }""")!);
        var browser = new Browser(app);
        var page = await browser.OpenAsync($"/programmes/{draft.Programme}/desk");
        Assert.Contains("Precautions of the person: reduced sensation and shoulder pain.", page.Text);
        Assert.Contains("Recorded for the person: shoulder pain. Source:", page.Text);
        Assert.Contains("Not on the sheet yet: save the draft.", page.Text);
        Assert.Contains("href=\"#goals\"", page.Html);
        Assert.Matches(@"CERT: \d+ of 19 lines filled", page.Text);
        Assert.Contains("href=\"#reporting-setting\"", page.Html);
        Assert.Contains("id=\"reporting-setting\"", page.Html);
        Assert.Contains("Reading age of the exercises", page.Text);
        Assert.Contains($"/programmes/{draft.Programme}/home-sheet", page.Html);
        await browser.PostAsync(page, $"/programmes/{draft.Programme}/desk", page.Fields);
        Assert.DoesNotContain("Not on the sheet yet", (await browser.OpenAsync($"/programmes/{draft.Programme}/desk")).Text);
    }

    [Fact]
    public async Task A_draft_is_briefed_acknowledged_and_handed_over()
    {
        var draft = await DraftAsync();
        var browser = new Browser(app);
        var address = $"/programmes/{draft.Programme}/desk";
        var page = await browser.OpenAsync(address);
        var refused = await browser.PostAsync(page, $"{address}/briefing", [("points", ""), ("required", "yes"), .. By]);
        Assert.Contains("at least one point the carer was told", refused.Wrong("brief-points"), StringComparison.Ordinal);
        Assert.Equal(HttpStatusCode.SeeOther, (await browser.PostAsync(page, $"{address}/briefing", [("points", "How to sit.\r\nWhen to stop."), ("required", "yes"), .. By])).Status);
        page = await browser.OpenAsync(address);
        Assert.Contains("on hold until it is", page.Text);
        Assert.Contains("give true or false", (await browser.PostAsync(page, $"{address}/acknowledgement", [("shownBack", "Showed it.")])).Wrong("acknowledgement-understood"), StringComparison.Ordinal);
        Assert.Equal(HttpStatusCode.SeeOther, (await browser.PostAsync(page, $"{address}/acknowledgement", [("understood", "yes"), ("shownBack", "Showed it.")])).Status);
        page = await browser.OpenAsync(address);
        Assert.Contains("has acknowledged it", page.Text);
        var nobody = await browser.PostAsync(page, $"{address}/activation", [("version", page.Field("version"))]);
        Assert.Contains("by is missing", nobody.Wrong("activation-by"), StringComparison.Ordinal);
        Assert.Equal(HttpStatusCode.SeeOther, (await browser.PostAsync(page, $"{address}/activation", [("version", page.Field("version")), .. By])).Status);
        Assert.Equal("active", (string?)(await ProgrammeAsync(draft.Programme))["status"]);
    }

    [Fact]
    public async Task A_programme_in_force_is_read_and_changed_by_decision_revision_and_pause()
    {
        var (_, programme) = await app.ProgrammeAsync();
        var browser = new Browser(app);
        var address = $"/programmes/{programme}/desk";
        var page = await browser.OpenAsync(address);
        Assert.Contains("In force.", page.Text);
        Assert.DoesNotContain("Save the draft", page.Text);
        var coins = (string)(await ProgrammeAsync(programme))["exercises"]![0]!["id"]!;

        var refused = await browser.PostAsync(page, $"{address}/revision", [("what", "change"), ("exercise", coins), ("dosage.sets", "0"), ("reason", "Too much."), .. By]);
        Assert.Contains("give a number of sets from 1 to 100", refused.Wrong("revision-dosage-sets"), StringComparison.Ordinal);
        Assert.Contains("Too much.", refused.Text);
        Assert.Equal(HttpStatusCode.SeeOther, (await browser.PostAsync(page, $"{address}/revision", [("what", "change"), ("exercise", coins), ("dosage.sets", "2"), ("reason", "Too much."), .. By])).Status);
        Assert.Equal(2, (int)(await ProgrammeAsync(programme))["exercises"]![0]!["dosage"]!["sets"]!);
        Assert.Equal(HttpStatusCode.SeeOther, (await browser.PostAsync(page, $"{address}/pause", [("from", "2026-06-20"), ("to", "2026-06-22"), ("reason", "A journey."), .. By])).Status);
        Assert.Contains("Paused from 20 June 2026 to 22 June 2026: A journey.", (await browser.OpenAsync(address)).Text);
        var unexplained = await browser.PostAsync(page, $"{address}/decision", [("exercise", "key-turning"), ("decision", "stop"), .. By]);
        Assert.Contains("say why the exercise is stopped", unexplained.Wrong("decision-reason"), StringComparison.Ordinal);
        Assert.Equal(HttpStatusCode.SeeOther, (await browser.PostAsync(page, $"{address}/decision", [("exercise", "key-turning"), ("decision", "stop"), ("reason", "Keys hurt."), .. By])).Status);
        Assert.Contains("Prescribed earlier", (await browser.OpenAsync(address)).Text);
        Assert.Equal(HttpStatusCode.Conflict, (await browser.PostAsync(page, address, [("version", "1"), ("title", "Anew")])).Status);
    }

    [Fact]
    public async Task A_draft_that_will_not_be_handed_over_is_withdrawn_with_the_reason()
    {
        var draft = await DraftAsync();
        var browser = new Browser(app);
        var address = $"/programmes/{draft.Programme}/desk";
        var page = await browser.OpenAsync(address);
        Assert.Contains("why it is not handed over", (await browser.PostAsync(page, $"{address}/withdrawal", [("version", "1"), .. By])).Wrong("withdrawal-reason"), StringComparison.Ordinal);
        Assert.Equal(HttpStatusCode.SeeOther, (await browser.PostAsync(page, $"{address}/withdrawal", [("version", "1"), ("reason", "Begun for another person."), .. By])).Status);
        Assert.Contains("A draft that was withdrawn; it never held.", (await browser.OpenAsync(address)).Text);
        Assert.Contains("a draft that was withdrawn", (await browser.OpenAsync($"/people/{draft.Person}")).Text);
        Assert.Empty((await app.GetAsync($"/api/people/{draft.Person}/progress"))["programmes"]!.AsArray());
        Assert.All(await app.Store.FindAllAsync<ServiceRequest>($"based-on=CarePlan/{draft.Programme}"), r => Assert.Equal(RequestStatus.EnteredInError, r.Status));
        var why = Assert.Single(await app.Store.FindAllAsync<Provenance>($"target=CarePlan/{draft.Programme}"));
        Assert.Equal("Begun for another person.", Assert.Single(why.Reason).Text);
        await app.RefusedAsync($"/api/programmes/{draft.Programme}/withdrawal", """{ "by": { "name": "Rowan Invented", "role": "physiotherapist" }, "reason": "Again." }""", HttpStatusCode.Conflict, "id", "is entered-in-error, not draft");
    }

    [Fact]
    public async Task The_longest_draft_fits_a_form()
    {
        var draft = await DraftAsync();
        var browser = new Browser(app);
        var page = await browser.OpenAsync($"/programmes/{draft.Programme}/desk");
        var many = Enumerable.Range(0, 60).SelectMany(i => Enumerable.Range(0, 24).Select(n => ($"spare[{i}].{n}", "x")));
        Assert.Equal(HttpStatusCode.SeeOther, (await browser.PostAsync(page, $"/programmes/{draft.Programme}/desk", [.. page.Fields, .. many])).Status);
    }
}

public class DeskMinimumTests(StrictClinic clinic) : IClassFixture<StrictClinic>
{
    [Fact]
    public async Task Below_the_clinics_minimum_handing_over_is_refused_with_the_way_to_each_gap()
    {
        var draft = await clinic.App.ProgrammeAsync(("status", "\"draft\""));
        var browser = new Browser(clinic.App);
        var page = await browser.OpenAsync($"/programmes/{draft.Programme}/desk");
        Assert.Contains("Needed: CERT 12", page.Text);
        Assert.Contains("The clinic asks for 17.", page.Text);
        var refused = await browser.PostAsync(page, $"/programmes/{draft.Programme}/desk/activation", [("version", "1"), ("by.name", "Rowan Invented"), ("by.role", "physiotherapist")]);
        Assert.Equal(HttpStatusCode.UnprocessableEntity, refused.Status);
        Assert.Contains("<a href=\"#reporting-setting\">reporting.setting is missing", refused.Html);
        Assert.Equal("draft", (string?)(await clinic.App.GetAsync($"/api/programmes/{draft.Programme}"))["status"]);
    }
}
