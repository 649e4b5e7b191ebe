using System.Net;
using System.Text.Json.Nodes;
using System.Text.RegularExpressions;

namespace RehabRecords.Tests.Trade;

/// <summary>A running service at noon of 15 June 2026, with a small library: three exercises and one template of two levels.</summary>
public sealed partial class TradeApp : TestApp, IAsyncLifetime
{
    public const string Person = """
        {
          "familyName": "Placeholder", "givenNames": ["Perrin"], "birthDate": "1956-03-02", "sex": "male",
          "dominantHand": "right", "affectedSide": "right", "onsetDate": "2026-03-20",
          "carer": { "name": "Quill Placeholder", "relationship": "sister", "phone": "01632 960099" },
          "precautions": [{ "code": "reduced-sensation", "note": "Fingertips." }]
        }
        """;

    public const string Exercise = """
        {
          "code": "coin-stacking", "version": "1.0.0", "title": "Stacking coins",
          "purpose": "Fine pinch and placing.", "instructions": "Stack ten coins one by one, then take them down.",
          "position": "sitting-at-table",
          "equipment": [{ "item": "ten coins", "householdAlternative": "ten buttons" }],
          "dosage": { "sets": 3, "repetitions": 10, "holdSeconds": 2, "restSeconds": 30, "minutes": 10, "tempo": "slow and smooth" },
          "handOrder": "affected-only", "helpLevel": "set-up",
          "grading": [{ "direction": "harder", "dimension": "object", "text": "Use smaller coins." }, { "direction": "easier", "dimension": "support", "text": "Rest the wrist." }],
          "cautions": [{ "code": "small-objects", "condition": "if children are about", "text": "Count the coins afterwards.", "stop": false },
                       { "code": "shoulder-pain", "text": "Stop if the shoulder hurts.", "stop": true }],
          "successCriterion": "The coin stays on the stack.", "role": "task"
        }
        """;

    public const string Template = """
        {
          "code": "small-tasks", "version": "1.0.0", "title": "Small tasks", "description": "For a hand that can pinch.",
          "levels": [
            { "level": 1, "title": "Larger things", "startsWhen": "The hand opens on request.", "exercises": [{ "exercise": "towel-wiping|1.0.0" }] },
            { "level": 2, "title": "Smaller things", "startsWhen": "Level 1 goes well three times.",
              "exercises": [{ "exercise": "coin-stacking|1.0.0", "dosage": { "repetitions": 12 } }, { "exercise": "key-turning|1.0.0" }] }
          ]
        }
        """;

    private static int _count;

    public TradeApp() => Clock = new TestClock(DateTimeOffset.Parse("2026-06-15T12:00:00Z"));

    public TestClock Time => (TestClock)Clock!;

    async Task IAsyncLifetime.InitializeAsync()
    {
        await base.InitializeAsync();
        await PostAsync("/api/exercises", JsonNode.Parse(Exercise)!);
        await PostAsync("/api/exercises", With(Exercise, ("code", "\"key-turning\""), ("title", "\"Turning a key\""), ("dosage", """{ "sets": 2, "repetitions": 10 }""")));
        await PostAsync("/api/exercises", With(Exercise, ("code", "\"towel-wiping\""), ("title", "\"Wiping with a towel\""), ("dosage", """{ "minutes": 5 }"""), ("role", "\"warm-up\"")));
        await PostAsync("/api/templates", JsonNode.Parse(Template)!);
    }

    /// <summary>A number no other test has, for codes and identifiers.</summary>
    public static int Next() => Interlocked.Increment(ref _count);

    public async Task<string> PersonAsync() => (string)(await PostAsync("/api/people", JsonNode.Parse(Person)!))["id"]!;

    public static JsonObject Programme(string person) => With("""
        {
          "template": "small-tasks|1.0.0", "level": 2, "levelReason": "Box and block 25 on 29 May 2026.",
          "start": "2026-06-01", "end": "2026-07-12", "timeZone": "Europe/London", "painLimit": 5,
          "exercises": [
            { "exercise": "coin-stacking|1.0.0", "side": "right", "schedule": { "timesPerDay": 1 } },
            { "exercise": "key-turning|1.0.0", "side": "right", "schedule": { "timesPerDay": 1 } }
          ],
          "author": { "name": "Rowan Invented", "role": "physiotherapist" }
        }
        """, ("person", $"\"{person}\""));

    public async Task<(string Person, string Programme)> ProgrammeAsync(params (string Path, string? Json)[] changes)
    {
        var person = await PersonAsync();
        var programme = await PostAsync("/api/programmes", With(Programme(person).ToJsonString(), changes));
        return (person, (string)programme["id"]!);
    }

    public static JsonObject Session((string Person, string Programme) of, params (string Path, string? Json)[] changes)
    {
        var session = With("""
            {
              "doneAt": "2026-06-10T10:00:00+01:00", "reportedBy": { "role": "patient" }, "remark": "Went well.",
              "exercises": [
                { "exercise": "coin-stacking", "sets": 3, "repetitions": 36, "purposefulRepetitions": 30, "minutes": 11.5, "help": "set-up", "side": "right",
                  "painBefore": 0, "painDuring": 2, "painAfter": 1, "exertion": { "scale": "0-10", "value": 3.5 }, "fatigue": 2, "quality": "met" },
                { "exercise": "key-turning", "skipped": { "reason": "fatigue", "note": "Tired by then." } }
              ]
            }
            """, ("person", $"\"{of.Person}\""), ("programme", $"\"{of.Programme}\""));
        return With(session.ToJsonString(), changes);
    }

    /// <summary>
    /// Posts a body that must be refused: with the status, naming the field, saying each part of the message, and
    /// with nothing stored.
    /// </summary>
    public async Task RefusedAsync(string path, string body, HttpStatusCode status, string field, params string[] says)
    {
        var before = State();
        using var response = await Http.PostAsync(path, Json(body));
        var text = await response.Content.ReadAsStringAsync();
        Assert.True(response.StatusCode == status, $"expected {(int)status}, answered {(int)response.StatusCode}: {text}");
        Assert.Equal("application/problem+json", response.Content.Headers.ContentType?.MediaType);
        var errors = JsonNode.Parse(text)!["errors"]!.AsArray();
        var named = errors.FirstOrDefault(e => (string?)e!["field"] == field);
        Assert.True(named is not null, $"no error names '{field}': {text}");
        var message = string.Join('\n', errors.Where(e => (string?)e!["field"] == field).Select(e => (string)e!["message"]!));
        foreach (var part in says)
            Assert.Contains(part, message, StringComparison.Ordinal);
        Assert.Equal(before, State());
    }

    /// <summary>The body with the fields at the paths set; a null takes the field away.</summary>
    public static JsonObject With(string body, params (string Path, string? Json)[] changes)
    {
        var root = JsonNode.Parse(body)!.AsObject();
        foreach (var (path, json) in changes)
        {
            JsonNode at = root;
            var steps = Steps().Matches(path).Select(m => m.Value).ToList();
            foreach (var step in steps[..^1])
                at = step[0] == '[' ? at[int.Parse(step[1..^1])]! : at[step]!;
            var last = steps[^1];
            if (last[0] == '[')
                at.AsArray()[int.Parse(last[1..^1])] = json is null ? null : JsonNode.Parse(json);
            else if (json is null)
                at.AsObject().Remove(last);
            else
                at[last] = JsonNode.Parse(json);
        }

        return root;
    }

    [GeneratedRegex(@"\[\d+\]|[^.\[\]]+")]
    private static partial Regex Steps();
}
