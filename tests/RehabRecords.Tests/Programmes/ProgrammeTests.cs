using System.Net;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Store;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.Programmes;

public class ProgrammeTests(TradeApp app) : IClassFixture<TradeApp>
{
    private const string Goals = """
        [{ "description": "Lay the table.", "levels": { "-2": "No.", "-1": "One fork.", "0": "Four forks.", "+1": "Forks and knives.", "+2": "Everything." },
           "importance": 3, "difficulty": 1, "due": "2026-07-10" }]
        """;

    [Fact]
    public async Task A_tailored_programme_takes_what_is_left_out_from_level_and_library()
    {
        var person = await app.PersonAsync();
        var posted = await app.PostAsync("/api/programmes", TradeApp.With(TradeApp.Programme(person).ToJsonString(),
            ("exercises[0].dosage", """{ "sets": 4 }"""), ("exercises[0].helpLevel", "\"independent\""), ("goals", Goals)));
        Assert.Equal("active", (string?)posted["status"]);
        Assert.Equal("small-tasks|1.0.0", (string?)posted["template"]);
        Assert.Equal("Small tasks, level 2: Smaller things", (string?)posted["title"]);
        var coins = posted["exercises"]![0]!;
        Assert.Equal(4, (int?)coins["dosage"]!["sets"]);
        Assert.Equal(12, (int?)coins["dosage"]!["repetitions"]);
        Assert.Equal(2, (int?)coins["dosage"]!["holdSeconds"]);
        Assert.Equal("independent", (string?)coins["helpLevel"]);
        Assert.Equal("sitting-at-table", (string?)coins["position"]);
        Assert.Equal("Four forks.", (string?)posted["goals"]![0]!["levels"]!["0"]);
        Assert.Equal(posted.ToJsonString(), (await app.GetAsync($"/api/programmes/{(string?)posted["id"]}")).ToJsonString());
        Assert.Equal((string?)posted["id"], (string?)Assert.Single((await app.GetAsync($"/api/programmes?person={person}")).AsArray())!["id"]);
    }

    [Fact]
    public async Task Without_a_list_every_exercise_of_the_level_is_due_once_a_day_on_the_affected_side()
    {
        var posted = await app.PostAsync("/api/programmes", TradeApp.With(TradeApp.Programme(await app.PersonAsync()).ToJsonString(), ("exercises", null)));
        var exercises = posted["exercises"]!.AsArray();
        Assert.Equal(["coin-stacking|1.0.0", "key-turning|1.0.0"], exercises.Select(e => (string?)e!["exercise"]));
        Assert.All(exercises, e => Assert.Equal("right", (string?)e!["side"]));
        Assert.All(exercises, e => Assert.Equal(1, (int?)e!["schedule"]!["timesPerDay"]));
    }

    [Fact]
    public async Task The_words_for_the_person_say_everything_the_extensions_and_the_timing_say()
    {
        var posted = await app.PostAsync("/api/programmes", TradeApp.With(TradeApp.Programme(await app.PersonAsync()).ToJsonString(),
            ("exercises[0].schedule", """{ "timesPerDay": 2, "daysOfWeek": ["fri", "mon"], "timesOfDay": ["16:30", "09:00"] }"""), ("exercises[0].instruction", "\"Sit by the window\"")));
        var words = (string)posted["exercises"]![0]!["patientInstruction"]!;
        foreach (var said in new[]
        {
            "Stacking coins.", "Sit by the window.", "Stack ten coins one by one, then take them down.",
            "Twice each day, on Monday and Friday, at 09:00 and 16:30, from 1 June 2026 to 12 July 2026.",
            "Do 3 sets of 12 repetitions, about 10 minutes in all.", "Hold each one for 2 seconds.", "Rest for 30 seconds between sets.", "Tempo: slow and smooth.",
            "Side: right arm and hand.", "Position: sitting at a table.", "Hands: the affected hand only.", "Help: with things set up by somebody.",
            "You need: ten coins (or ten buttons).", "It counts when: The coin stays on the stack.", "Stop rule (shoulder pain): Stop if the shoulder hurts.",
            "Take care (small objects, if children are about): Count the coins afterwards.", "To make it harder (object): Use smaller coins.",
        })
            Assert.Contains(said, words, StringComparison.Ordinal);
    }

    [Fact]
    public async Task Every_resource_names_its_profile_and_pins_its_versions()
    {
        var posted = await app.PostAsync("/api/programmes", TradeApp.With(TradeApp.Programme(await app.PersonAsync()).ToJsonString(), ("goals", Goals)));
        var (programme, _) = (await app.Store.GetAsync<CarePlan>((string)posted["id"]!))!.Value;
        Assert.Equal("https://rehabrecords.example/fhir/PlanDefinition/small-tasks|1.0.0", Assert.Single(programme.InstantiatesCanonical));
        var request = (await app.Store.FindAllAsync<ServiceRequest>($"based-on=CarePlan/{programme.Id}"))[0];
        Assert.Equal("https://rehabrecords.example/fhir/ActivityDefinition/coin-stacking|1.0.0", Assert.Single(request.InstantiatesCanonical));
        var (goal, _) = (await app.Store.GetAsync<Goal>((string)posted["goals"]![0]!["id"]!))!.Value;
        Assert.All(new Resource[] { programme, request, goal }, r =>
        {
            Assert.Single(r.Meta!.Profile);
            Assert.DoesNotContain(TestApp.SharedValidator.Validate(r), i => i.Refuses);
        });
    }

    [Fact]
    public async Task A_clinician_with_a_registration_number_is_one_practitioner()
    {
        async Task<string?> AuthorAsync()
        {
            var posted = await app.PostAsync("/api/programmes", TradeApp.With(TradeApp.Programme(await app.PersonAsync()).ToJsonString(), ("author.registration", "\"PH-TEST-1\"")));
            return (await app.Store.GetAsync<CarePlan>((string)posted["id"]!))!.Value.Resource.Author!.Reference;
        }

        var first = await AuthorAsync();
        Assert.StartsWith("Practitioner/", first, StringComparison.Ordinal);
        Assert.Equal(first, await AuthorAsync());
    }

    [Fact]
    public async Task A_new_clinician_named_by_many_requests_at_once_is_one_practitioner()
    {
        var people = await Task.WhenAll(Enumerable.Range(0, 5).Select(_ => app.PersonAsync()));
        var posted = await Task.WhenAll(people.Select(person => app.PostAsync("/api/programmes",
            TradeApp.With(TradeApp.Programme(person).ToJsonString(), ("author.registration", "\"PH-TEST-2\"")))));
        Assert.Equal(5, posted.Length);
        Assert.Single(await app.Store.FindAllAsync<Practitioner>("identifier=https://rehabrecords.example/fhir/id/registration|PH-TEST-2"));
    }

    [Theory]
    [InlineData("person", null, "person is missing; give the person's id")]
    [InlineData("person", "\"a/b\"", "person is 'a/b', which cannot be an id; give the id as the service answered it")]
    [InlineData("person", "\"nobody\"", "person names 'nobody', and there is no such person in the record")]
    [InlineData("template", "\"small-tasks\"", "template is 'small-tasks'; give code and version joined by '|'")]
    [InlineData("template", "\"other|1\"", "template names 'other|1', and there is no such template")]
    [InlineData("level", null, "level is missing; give the level of the template")]
    [InlineData("level", "0", "level is 0; give a level of the template from 1 to 20")]
    [InlineData("level", "7", "level is 7, which the template small-tasks|1.0.0 does not have; use one of: 1, 2")]
    [InlineData("levelReason", null, "levelReason is missing; give why this level")]
    [InlineData("start", null, "start is missing; give the first day")]
    [InlineData("start", "\"1980-01-01\"", "start is 1980-01-01; give a day from 1990-01-01")]
    [InlineData("end", "\"2026-05-31\"", "end is 2026-05-31; give a day from 2026-06-01 (start) to 2028-06-01")]
    [InlineData("timeZone", "\"GMT+1\"", "timeZone is 'GMT+1', which is not an IANA time zone; give one such as Europe/London")]
    [InlineData("timeZone", "\"Europe/Nowhere\"", "timeZone is 'Europe/Nowhere'")]
    [InlineData("painLimit", null, "painLimit is missing; give the pain limit from 0 to 10")]
    [InlineData("painLimit", "11", "painLimit is 11; give a whole number from 0 to 10")]
    [InlineData("exercises[0].exercise", "\"juggling|1.0.0\"", "exercises[0].exercise names 'juggling|1.0.0', and there is no such exercise")]
    [InlineData("exercises[0].exercise", null, "exercises[0].exercise is missing")]
    [InlineData("exercises[0].side", null, "exercises[0].side is missing; give left, right or both")]
    [InlineData("exercises[0].side", "\"upper\"", "exercises[0].side is 'upper', which is not a side; use one of: left, right, both")]
    [InlineData("exercises[1].exercise", "\"coin-stacking|1.0.0\"", "exercises has the exercise and side 'coin-stacking|1.0.0 (right)' 2 times; list it once")]
    [InlineData("exercises[0].handOrder", "\"x\"", "exercises[0].handOrder is 'x'")]
    [InlineData("exercises[0].position", "\"x\"", "exercises[0].position is 'x'")]
    [InlineData("exercises[0].helpLevel", "\"x\"", "exercises[0].helpLevel is 'x'")]
    [InlineData("exercises[0].dosage", """{ "sets": 101 }""", "exercises[0].dosage.sets is 101; give a number of sets from 1 to 100")]
    [InlineData("exercises[0].schedule.timesPerDay", "25", "exercises[0].schedule.timesPerDay is 25; give times a day from 1 to 24")]
    [InlineData("exercises[0].schedule.daysOfWeek", """["monday"]""", "exercises[0].schedule.daysOfWeek[0] is 'monday', which is not a day of the week; use one of: mon, tue, wed, thu, fri, sat, sun")]
    [InlineData("exercises[0].schedule.daysOfWeek", """["mon", "mon"]""", "exercises[0].schedule.daysOfWeek has the day 'mon' 2 times")]
    [InlineData("exercises[0].schedule.timesOfDay", """["9 am"]""", "exercises[0].schedule.timesOfDay[0] is '9 am'; give a time from 00:00 to 23:59 as HH:mm")]
    [InlineData("exercises[0].schedule", """{ "timesPerDay": 3, "timesOfDay": ["09:00"] }""", "exercises[0].schedule has 1 timesOfDay and timesPerDay 3; give as many times as there are occasions")]
    [InlineData("goals", """[{ "description": "x", "due": "2026-07-01" }]""", "goals[0].levels has no levels; describe exactly the five levels -2, -1, 0, +1, +2")]
    [InlineData("goals", """[{ "description": "x", "due": "2026-07-01", "levels": { "-2": "a", "-1": "b", "0": "c", "1": "d", "2": "e" } }]""", "goals[0].levels has -2, -1, 0, 1, 2; describe exactly the five levels")]
    [InlineData("goals", """[{ "description": "x", "due": "2026-07-01", "importance": 4, "levels": { "-2": "a", "-1": "b", "0": "c", "+1": "d", "+2": "e" } }]""", "goals[0].importance is 4; give a weight from 0 to 3")]
    [InlineData("author.role", "\"carer\"", "author.role is 'carer', which is not a clinician's role; this needs a registered clinician")]
    [InlineData("author.name", null, "author.name is missing; give the clinician's name")]
    public async Task A_bad_field_is_named_with_value_range_and_remedy(string path, string? json, string message)
    {
        var body = TradeApp.With(TradeApp.Programme(await app.PersonAsync()).ToJsonString(), (path, json));
        await app.RefusedAsync("/api/programmes", body.ToJsonString(), HttpStatusCode.UnprocessableEntity, message[..message.IndexOf(' ', StringComparison.Ordinal)], message);
    }

    [Fact]
    public async Task Neither_template_nor_exercises_is_refused() => await app.RefusedAsync(
        "/api/programmes", TradeApp.With(TradeApp.Programme(await app.PersonAsync()).ToJsonString(), ("template", null), ("level", null), ("exercises", null)).ToJsonString(),
        HttpStatusCode.UnprocessableEntity, "exercises", "exercises is empty and there is no template; name a template with its level, or list at least one exercise");

    [Fact]
    public async Task Without_an_affected_side_the_exercises_must_be_listed()
    {
        var person = (string)(await app.PostAsync("/api/people", TradeApp.With(TradeApp.Person, ("affectedSide", null))))["id"]!;
        await app.RefusedAsync("/api/programmes", TradeApp.With(TradeApp.Programme(person).ToJsonString(), ("exercises", null)).ToJsonString(),
            HttpStatusCode.UnprocessableEntity, "exercises", "the person has no affected side recorded");
    }

    [Fact]
    public async Task A_programme_that_is_not_there_is_not_found()
    {
        using var response = await app.Http.GetAsync("/api/programmes/nothing");
        Assert.Equal(HttpStatusCode.NotFound, response.StatusCode);
    }
}
