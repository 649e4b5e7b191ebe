using System.Net;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.Sessions;

/// <summary>What must not get in: each with its message, and with the record as it was.</summary>
public class SessionRefusalTests(TradeApp app) : IClassFixture<TradeApp>
{
    [Theory]
    [InlineData("person", null, "person is missing; give the person's id")]
    [InlineData("person", "\"nobody\"", "person names 'nobody', and there is no such person in the record; give one that exists or create it first")]
    [InlineData("person", "\"../x\"", "person is '../x', which cannot be an id")]
    [InlineData("person", "\"a/b\"", "person is 'a/b', which cannot be an id; give the id as the service answered it")]
    [InlineData("programme", null, "programme is missing; give the id of the person's programme")]
    [InlineData("programme", "\"nothing\"", "programme names 'nothing', and there is no such programme")]
    [InlineData("doneAt", null, "doneAt is missing; give the date and time it was done with the offset")]
    [InlineData("doneAt", "\"2027-06-10T10:00:00+01:00\"", "doneAt is 2027-06-10T10:00:00+01:00, which is in the future (it is 2026-06-15T12:00:00Z)")]
    [InlineData("doneAt", "\"2026-06-15T12:06:00Z\"", "doneAt is 2026-06-15T12:06:00+00:00, which is in the future")]
    [InlineData("doneAt", "\"2026-05-31T22:30:00Z\"", "doneAt is 2026-05-31 in Europe/London, before the programme starts; the programme runs from 2026-06-01 to 2026-07-12")]
    [InlineData("reportedBy", null, "reportedBy is missing; give who reports")]
    [InlineData("reportedBy.role", null, "reportedBy.role is missing; give one of: patient, carer, clinician, support-worker")]
    [InlineData("reportedBy.role", "\"friend\"", "reportedBy.role is 'friend', which is not who can report; use one of: patient, carer, clinician, support-worker")]
    [InlineData("exercises", "[]", "exercises is empty and nothing else is reported; list what was done, or report a missed session")]
    [InlineData("exercises[0].exercise", null, "exercises[0].exercise is missing")]
    [InlineData("exercises[0].exercise", "\"juggling\"", "exercises[0].exercise is 'juggling', which this programme does not have; use one of: coin-stacking, key-turning")]
    [InlineData("exercises[0].exercise", "\"towel-wiping\"", "exercises[0].exercise is 'towel-wiping', which this programme does not have")]
    [InlineData("exercises[1]", """{ "exercise": "coin-stacking", "repetitions": 1 }""", "exercises[1].exercise is 'coin-stacking', which is listed twice in this session")]
    [InlineData("exercises[0].sets", "101", "exercises[0].sets is 101; give a number of sets from 0 to 100, or leave it out if it was not recorded")]
    [InlineData("exercises[0].sets", "-1", "exercises[0].sets is -1; give a number of sets from 0 to 100")]
    [InlineData("exercises[0].repetitions", "-1", "exercises[0].repetitions is -1; give a number of repetitions from 0 to 10000")]
    [InlineData("exercises[0].repetitions", "10001", "exercises[0].repetitions is 10001; give a number of repetitions from 0 to 10000")]
    [InlineData("exercises[0].repetitions", "1000000000", "exercises[0].repetitions is 1000000000; give a number of repetitions from 0 to 10000")]
    [InlineData("exercises[0].purposefulRepetitions", "37", "exercises[0].purposefulRepetitions is 37, more than the 36 repetitions done")]
    [InlineData("exercises[0].purposefulRepetitions", "-2", "exercises[0].purposefulRepetitions is -2; give a number of repetitions from 0 to 10000")]
    [InlineData("exercises[0].minutes", "1441", "exercises[0].minutes is 1441; give minutes from 0 to 1440")]
    [InlineData("exercises[0].help", "\"lots\"", "exercises[0].help is 'lots', which is not a level of help; use one of: independent, set-up, verbal-prompt, hands-on")]
    [InlineData("exercises[0].side", "\"middle\"", "exercises[0].side is 'middle', which is not a side; use one of: left, right, both")]
    [InlineData("exercises[0].painBefore", "-1", "exercises[0].painBefore is -1; give pain from 0 to 10")]
    [InlineData("exercises[0].painDuring", "11", "exercises[0].painDuring is 11; give pain from 0 to 10")]
    [InlineData("exercises[0].painAfter", "11", "exercises[0].painAfter is 11; give pain from 0 to 10")]
    [InlineData("exercises[0].fatigue", "11", "exercises[0].fatigue is 11; give fatigue from 0 to 10")]
    [InlineData("exercises[0].exertion", """{ "value": 4 }""", "exercises[0].exertion.scale is missing; name the scale the value was taken on: 0-10 or 6-20")]
    [InlineData("exercises[0].exertion", """{ "scale": "0-10" }""", "exercises[0].exertion.value is missing")]
    [InlineData("exercises[0].exertion", """{ "scale": "0-10", "value": 13 }""", "exercises[0].exertion.value is 13, which the scale 0-10 does not have; give 0 to 10 in steps of 0.5, or name the scale 6-20")]
    [InlineData("exercises[0].exertion", """{ "scale": "0-10", "value": 3.3 }""", "exercises[0].exertion.value is 3.3; give 0 to 10 in steps of 0.5")]
    [InlineData("exercises[0].exertion", """{ "scale": "6-20", "value": 4 }""", "exercises[0].exertion.value is 4, which the scale 6-20 does not have; give a whole number from 6 to 20, or name the scale 0-10")]
    [InlineData("exercises[0].exertion", """{ "scale": "6-20", "value": 12.5 }""", "exercises[0].exertion.value is 12.5, which the scale 6-20 does not have")]
    [InlineData("exercises[0].exertion", """{ "scale": "borg", "value": 4 }""", "exercises[0].exertion.scale is 'borg', which is not an exertion scale; use one of: 0-10, 6-20")]
    [InlineData("exercises[0].quality", "\"good\"", "exercises[0].quality is 'good', which is not a quality; use one of: met, partly-met, not-met")]
    [InlineData("exercises[0].skipped", """{ "reason": "pain" }""", "exercises[0].skipped is given together with results; send either what was done or why it was skipped")]
    [InlineData("exercises[1].skipped", "{}", "exercises[1].skipped.reason is missing; give one of: fatigue, pain")]
    [InlineData("exercises[1].skipped.reason", "\"lazy\"", "exercises[1].skipped.reason is 'lazy', which is not a reason; use one of: fatigue, pain, unwell")]
    [InlineData("missed", """{ "plannedFor": "2026-06-09", "reason": "pain" }""", "missed is given together with 2 exercises; send either what was done (doneAt and exercises) or a missed session")]
    [InlineData("adverseEvents", """[{ "kind": "bruise", "severity": "mild", "description": "x" }]""", "adverseEvents[0].kind is 'bruise', which is not a kind of harm; use one of: fall, skin-injury")]
    [InlineData("adverseEvents", """[{ "kind": "fall", "severity": "bad", "description": "x" }]""", "adverseEvents[0].severity is 'bad', which is not a severity; use one of: mild, moderate, severe")]
    [InlineData("adverseEvents", """[{ "kind": "fall", "severity": "mild" }]""", "adverseEvents[0].description is missing; give what happened")]
    [InlineData("redFlags", """["feeling-odd"]""", "redFlags[0] is 'feeling-odd', which is not a red flag; use one of: face-droop, new-weakness")]
    [InlineData("redFlags", """["dizziness", "dizziness"]""", "redFlags has the red flag 'dizziness' 2 times; list it once")]
    [InlineData("remark", "\"\"", "remark is blank; write a text of 1 to 4000 characters or leave it out")]
    [InlineData("identifier", """{ "system": "https://clinic.example/s" }""", "identifier.value is missing")]
    public async Task A_bad_field_is_named_with_value_range_and_remedy(string path, string? json, string message) => await app.RefusedAsync(
        "/api/sessions", TradeApp.Session(await app.ProgrammeAsync(), (path, json)).ToJsonString(), HttpStatusCode.UnprocessableEntity,
        message[..message.IndexOf(' ', StringComparison.Ordinal)], message);

    [Theory]
    [InlineData("""{ "plannedFor": "2026-05-31", "reason": "pain" }""", "missed.plannedFor", "missed.plannedFor is 2026-05-31 in Europe/London, before the programme starts")]
    [InlineData("""{ "plannedFor": "2026-07-13", "reason": "pain" }""", "missed.plannedFor", "after the programme ended; the programme runs from 2026-06-01 to 2026-07-12")]
    [InlineData("""{ "plannedFor": "2026-06-16", "reason": "pain" }""", "missed.plannedFor", "missed.plannedFor is 2026-06-16, which is still to come (it is 2026-06-15 in Europe/London)")]
    [InlineData("""{ "reason": "pain" }""", "missed.plannedFor", "missed.plannedFor is missing; give the day it was planned for")]
    [InlineData("""{ "plannedFor": "2026-06-09" }""", "missed.reason", "missed.reason is missing; give one of: fatigue")]
    [InlineData("""{ "plannedFor": "2026-06-09", "reason": "rain" }""", "missed.reason", "missed.reason is 'rain', which is not a reason; use one of: fatigue, pain, unwell, no-carer")]
    public async Task A_bad_missed_session_is_refused(string missed, string field, string message) => await app.RefusedAsync(
        "/api/sessions", TradeApp.Session(await app.ProgrammeAsync(), ("missed", missed), ("doneAt", null), ("exercises", null)).ToJsonString(),
        HttpStatusCode.UnprocessableEntity, field, message);

    [Fact]
    public async Task Missed_and_done_at_once_is_refused() => await app.RefusedAsync(
        "/api/sessions", TradeApp.Session(await app.ProgrammeAsync(), ("missed", """{ "plannedFor": "2026-06-09", "reason": "pain" }"""), ("exercises", null)).ToJsonString(),
        HttpStatusCode.UnprocessableEntity, "missed", "missed is given together with doneAt; a missed session has plannedFor instead");

    [Fact]
    public async Task The_programme_of_another_person_is_refused()
    {
        var (_, programme) = await app.ProgrammeAsync();
        var person = await app.PersonAsync();
        await app.RefusedAsync("/api/sessions", TradeApp.Session((person, programme)).ToJsonString(), HttpStatusCode.UnprocessableEntity,
            "programme", "which is the programme of another person; give a programme of person " + person);
    }

    [Fact]
    public async Task A_session_after_the_end_is_refused_with_a_day_of_grace()
    {
        var of = await app.ProgrammeAsync(("end", "\"2026-06-09\""));
        await app.PostAsync("/api/sessions", TradeApp.Session(of, ("doneAt", "\"2026-06-10T00:30:00+01:00\"")));
        await app.RefusedAsync("/api/sessions", TradeApp.Session(of, ("doneAt", "\"2026-06-11T00:30:00+01:00\"")).ToJsonString(), HttpStatusCode.UnprocessableEntity,
            "doneAt", "doneAt is 2026-06-11 in Europe/London, after the programme ended; the programme runs from 2026-06-01 to 2026-06-09");
    }

    [Theory]
    [InlineData("""{ "person": """, "", "not readable JSON")]
    [InlineData("""{ "exercises": [{ "repetitions": "ten" }] }""", "exercises[0].repetitions", "is \"ten\"; send a whole number from 0 to 10000")]
    [InlineData("""{ "exercises": [{ "repetitions": 1e9 }] }""", "exercises[0].repetitions", "is 1e9; send a whole number from 0 to 10000")]
    [InlineData("""{ "exercises": [{ "minutes": 1.000000000000000000000000000000001e99 }] }""", "exercises[0].minutes", "send a number from 0 to 1440")]
    [InlineData("""{ "remark": "a\u0000b" }""", "remark", "control character U+0000")]
    [InlineData("""{ "colour": "red" }""", "colour", "'colour' is not a field of this request")]
    public Task A_body_that_cannot_be_read_is_refused(string body, string field, string message) =>
        app.RefusedAsync("/api/sessions", body, HttpStatusCode.BadRequest, field, message);

    [Fact]
    public Task Nesting_8000_deep_is_refused() =>
        app.RefusedAsync("/api/sessions", "{\"exercises\":" + new string('[', 8000) + new string(']', 8000) + "}", HttpStatusCode.BadRequest, "", "not readable JSON");

    [Fact]
    public Task Six_hundred_kilobytes_of_empty_objects_are_refused() =>
        app.RefusedAsync("/api/sessions", EmptyObjects(200_000), HttpStatusCode.UnprocessableEntity, "exercises", "exercises has 200000 entries; give at most 50");

    [Fact]
    public async Task Fifty_megabytes_are_refused_before_they_are_read()
    {
        var before = app.State();
        using var content = new ByteArrayContent(new byte[50 * 1024 * 1024]);
        content.Headers.ContentType = new("application/json");
        HttpStatusCode? status = null;
        try
        {
            using var response = await app.Http.PostAsync("/api/sessions", content);
            status = response.StatusCode;
        }
        catch (HttpRequestException)
        {
            // The service may close the connection while the rest is still on its way.
        }

        Assert.True(status is null or HttpStatusCode.RequestEntityTooLarge, $"answered {status}");
        Assert.Equal(before, app.State());
        Assert.NotNull(await app.GetAsync("/api/exercises"));
    }

    [Fact]
    public async Task Another_type_of_body_is_refused()
    {
        using var response = await app.Http.PostAsync("/api/sessions", TestApp.Json("<session/>", "application/xml"));
        Assert.Equal(HttpStatusCode.UnsupportedMediaType, response.StatusCode);
    }

    [Theory]
    [InlineData("/api/sessions/a%2Fb")]
    [InlineData("/api/sessions/nothing")]
    public async Task A_session_that_is_not_there_is_not_found(string path)
    {
        using var response = await app.Http.GetAsync(path);
        Assert.Equal(HttpStatusCode.NotFound, response.StatusCode);
    }

    private static string EmptyObjects(int count) => "{\"exercises\":[" + string.Join(',', Enumerable.Repeat("{}", count)) + "]}";
}
