using System.Text.Json.Nodes;
using RehabRecords.Tests.Discharges;
using RehabRecords.Tests.Docs;
using RehabRecords.Tests.Documents;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.Letters;

/// <summary>A letter to the next team, drafted from the record and signed as a note.</summary>
public class LetterTests(TradeApp app) : IClassFixture<TradeApp>
{
    private static JsonObject Letter(string person, params (string Path, string? Json)[] changes) => TradeApp.With(TradeApp.With($$"""
        {
          "to": { "name": "Merle Inventsen", "role": "community physiotherapist", "organisation": "Vale Community Team" },
          "copies": [{ "name": "Dr Imagined", "role": "GP" }],
          "from": "2026-06-22", "reason": "She moves <to> the vale & her daughter.", "request": "See her at home within two weeks.",
          "requirements": "Reads large print.", "author": {{DischargeBodies.By}}
        }
        """, ("person", $"\"{person}\"")).ToJsonString(), changes);

    private static string Text(JsonNode note, string rule) => string.Join('\n', note["statements"]!.AsArray().Where(s => (string?)s!["rule"] == rule).Select(s => (string)s!["text"]!));

    [Fact]
    public async Task A_letter_says_who_why_and_what_is_asked_as_stated_and_the_rest_from_the_record()
    {
        var of = await app.CourseAsync();
        var letter = await app.PostAsync("/api/letters", Letter(of.Person));
        Assert.Equal(("transfer letter", "preliminary", "draft"), ((string?)letter["kind"], (string?)letter["status"], (string?)letter["stage"]));
        Assert.Equal("To Merle Inventsen, community physiotherapist, Vale Community Team.", Text(letter, "transfer-to"));
        Assert.Equal("Copy to Dr Imagined, GP.", Text(letter, "transfer-copy"));
        Assert.Equal("Rowan Invented, physiotherapist, hands the care over from 22 June 2026, because: “She moves ‹to› the vale & her daughter.”", Text(letter, "transfer-reason"));
        Assert.Equal("Asked of you, in the words of Rowan Invented, physiotherapist: “See her at home within two weeks.”", Text(letter, "transfer-request"));
        Assert.Contains("born 2 March 1956 (70 years)", Text(letter, "transfer-person"));
        Assert.Contains("in force, from 1 June 2026", Text(letter, "transfer-programme"));
        Assert.Contains("Stacking coins (right hand): Do 3 sets of 12 repetitions", Text(letter, "transfer-exercise"));
        // The same numbers as everywhere: computed from the measures and sessions of the course.
        Assert.Contains("35.0 s less (better). Reaches the minimal detectable change (32.8 s)", Text(letter, "measure-change"));
        Assert.Contains("2 reported done, 0 reported missed", Text(letter, "adherence"));
        // Nothing of a discharge.
        Assert.DoesNotContain("ischarge", (string)letter["text"]!);
        Assert.All(letter["statements"]!.AsArray(), s => Assert.NotEmpty(s!["evidence"]!.AsArray()));
        Assert.Equal("active", (string?)(await app.GetAsync($"/fhir/CarePlan/{of.Programme}"))["status"]);
        Assert.Null((await app.GetAsync($"/fhir/EpisodeOfCare?patient=Patient/{of.Person}"))["entry"]);
    }

    [Fact]
    public async Task A_number_is_named_by_who_gave_it_and_the_address_of_an_origin_is_no_number()
    {
        var of = await app.CourseAsync();
        using var patch = new HttpRequestMessage(HttpMethod.Patch, $"/fhir/Patient/{of.Person}")
        {
            Content = new StringContent("""
                [{ "op": "remove", "path": "/text" }, { "op": "add", "path": "/identifier", "value": [
                  { "system": "https://pebblewick.example/id/hospital", "value": "H-77", "assigner": { "display": "Pebblewick Hospital" } },
                  { "system": "https://vale.example/id/person", "value": "V-12" },
                  { "system": "urn:ietf:rfc:3986", "value": "http://vale.test/fhir/Patient/1" }] }]
                """, System.Text.Encoding.UTF8, "application/json-patch+json"),
            Headers = { { "If-Match", "W/\"1\"" } },
        };
        using var patched = await app.Http.SendAsync(patch);
        Assert.True(patched.IsSuccessStatusCode, await patched.Content.ReadAsStringAsync());

        var person = Text(await app.PostAsync("/api/letters", Letter(of.Person)), "transfer-person");
        Assert.Contains("Known as H-77 (Pebblewick Hospital); V-12 (https://vale.example/id/person).", person);
        Assert.DoesNotContain("vale.test", person);
    }

    [Fact]
    public async Task A_letter_becomes_stale_is_refreshed_edited_and_signed_by_the_code_of_notes_and_two_letters_are_two()
    {
        var of = await app.CourseAsync();
        var first = await app.PostAsync("/api/letters", Letter(of.Person));
        var second = await app.PostAsync("/api/letters", Letter(of.Person, ("to.name", "\"Nobody Else\"")));
        Assert.NotEqual((string?)first["address"], (string?)second["address"]);
        var id = ((string)first["address"]!).Split('/')[^1];

        await app.SessionAsync((of.Person, of.Programme), 14, "A cup carried.");
        var stale = await app.NoteAsync(id);
        Assert.True((bool)stale["review"]!["stale"]!);
        var note = await app.DoneAsync($"/api/notes/{id}/statements/transfer-request/text", LifeCycle.By(LifeCycle.Physio, ", \"text\": \"Please see her within one week.\""), stale.Version());
        note = await app.DoneAsync($"/api/notes/{id}/refresh", LifeCycle.By(LifeCycle.Physio), note.Version());
        Assert.Equal("Please see her within one week.", Text(note, "transfer-request"));
        Assert.Contains("A cup carried.", Text(note, "discharge-words"));
        Assert.Contains("3 reported done", Text(note, "adherence"));
        await app.SignedAsync(id);
        var signed = await app.NoteAsync(id);
        Assert.Equal("signed", (string?)signed["stage"]);
        Assert.StartsWith("Transfer letter: ", (string)signed["title"]!);
        Assert.Equal("true", (await app.GetAsync($"/api/notes/{id}/signature"))["verdict"]!["genuine"]!.ToJsonString());
        // Signed or not, it is a note of the person; the unsigned one keeps anybody from discharging without a word.
        Assert.Equal(2, (await app.GetAsync($"/api/notes?person={of.Person}")).AsArray().Count(n => (string?)n!["kind"] == "transfer letter"));
        Assert.Contains((await app.GetAsync($"/api/discharges/blockers?person={of.Person}")).AsArray(), b => (string?)b!["blocker"] == $"Composition/{((string)second["address"]!).Split('/')[^1]}");
    }

    [Fact]
    public async Task A_red_flag_that_is_open_comes_first_in_the_letter()
    {
        var of = await app.ProgrammeAsync();
        await app.PostAsync("/api/sessions", TradeApp.Session(of, ("redFlags", "[\"new-weakness\"]")));
        var letter = await app.PostAsync("/api/letters", Letter(of.Person));
        Assert.Contains("Outstanding red flag", (string)Assert.Single(letter["urgent"]!.AsArray())!);
        var page = await app.Http.GetStringAsync((string)letter["address"]!, "text/html");
        Assert.True(page.IndexOf("Outstanding red flag", StringComparison.Ordinal) < page.IndexOf("<h1>", StringComparison.Ordinal));
    }

    [Theory]
    [InlineData("to", "null", "to", "who the letter is to, with name and role")]
    [InlineData("to.role", "null", "to.role", "to.role is missing", "such as community physiotherapist")]
    [InlineData("copies", """[{ "name": "X" }]""", "copies[0].role", "copies[0].role is missing")]
    [InlineData("reason", "null", "reason", "reason is missing", "why the care goes over")]
    [InlineData("request", "\" \"", "request", "request is missing")]
    [InlineData("author.role", "\"carer\"", "author.role", "not a clinician's role")]
    public async Task A_letter_that_lacks_something_is_refused(string path, string json, string field, params string[] says)
    {
        var person = await app.PersonAsync();
        await app.RefusedAsync("/api/letters", Letter(person, (path, json)).ToJsonString(), System.Net.HttpStatusCode.UnprocessableEntity, field, says);
    }

    [Fact]
    public async Task Of_somebody_without_a_programme_there_is_nothing_to_tell() =>
        await app.RefusedAsync("/api/letters", Letter(await app.PersonAsync()).ToJsonString(), System.Net.HttpStatusCode.UnprocessableEntity, "person", "has no programme");
}
