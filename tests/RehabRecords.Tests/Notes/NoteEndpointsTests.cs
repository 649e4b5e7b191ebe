using System.Net;
using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Parsing;

namespace RehabRecords.Tests.Notes;

/// <summary>From a posted session to its note, over HTTP, as a notes system sees it.</summary>
public sealed class NoteEndpointsTests(TestApp app) : IClassFixture<TestApp>
{
    private static JsonNode Demo(string file) => JsonNode.Parse(File.ReadAllText(Path.Combine(Repository.Root, "examples", "demo", file + ".json")))!;

    private static readonly string[] Weekdays = ["mon", "wed", "fri"];

    /// <summary>A person of their own for each test, with one exercise three times a week from Monday 31 August 2026.</summary>
    private async Task<(string Person, string Programme)> ProgrammeAsync()
    {
        var exercise = Demo("2-exercises/clothes-pegs");
        using (await app.Http.PostAsync("/api/exercises", TestApp.Json(exercise)))
        {
            // Conflict when another test has recorded it already.
        }
        var body = Demo("1-people/ada-sampleton");
        body.AsObject().Remove("identifier");
        var person = (string)(await app.PostAsync("/api/people", body))["id"]!;
        var programme = await app.PostAsync("/api/programmes", new JsonObject
        {
            ["person"] = person,
            ["title"] = "Pegs at home",
            ["levelReason"] = "The therapist's choice.",
            ["start"] = "2025-09-01",
            ["end"] = "2025-10-12",
            ["timeZone"] = "Europe/London",
            ["painLimit"] = 5,
            ["exercises"] = new JsonArray(new JsonObject
            {
                ["exercise"] = "clothes-pegs|1",
                ["side"] = "right",
                ["dosage"] = new JsonObject { ["sets"] = 2, ["repetitions"] = 10 },
                ["schedule"] = new JsonObject { ["timesPerDay"] = 1, ["daysOfWeek"] = new JsonArray([.. Weekdays.Select(d => (JsonNode)d)]) },
            }),
        });
        return (person, (string)programme["id"]!);
    }

    private Task<JsonNode> SessionAsync(string person, string programme, string doneAt, string? remark = null, params string[] redFlags) =>
        app.PostAsync("/api/sessions", new JsonObject
        {
            ["person"] = person,
            ["programme"] = programme,
            ["doneAt"] = doneAt,
            ["reportedBy"] = new JsonObject { ["role"] = "patient" },
            ["remark"] = remark,
            ["exercises"] = new JsonArray(new JsonObject { ["exercise"] = "clothes-pegs", ["repetitions"] = 20, ["painDuring"] = 1, ["quality"] = "met" }),
            ["redFlags"] = new JsonArray([.. redFlags.Select(f => (JsonNode)f)]),
        });

    private async Task<(HttpStatusCode Status, string Body, HttpResponseMessage Response)> GetAsync(string path, string? accept = null)
    {
        using var request = new HttpRequestMessage(HttpMethod.Get, path);
        if (accept is not null)
            request.Headers.TryAddWithoutValidation("Accept", accept);
        var response = await app.Http.SendAsync(request);
        return (response.StatusCode, await response.Content.ReadAsStringAsync(), response);
    }

    [Theory]
    [InlineData(null, "application/json")]
    [InlineData("*/*", "application/json")]
    [InlineData("text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8", "text/html")]
    [InlineData("text/plain", "text/plain")]
    [InlineData("application/fhir+json", "application/fhir+json")]
    [InlineData("application/fhir+xml", "application/fhir+xml")]
    [InlineData("application/json;q=0.1, text/plain;q=0.9", "text/plain")]
    public async Task A_note_is_served_as_the_caller_likes_it_best(string? accept, string expected)
    {
        var (person, programme) = await ProgrammeAsync();
        var answer = await SessionAsync(person, programme, "2025-09-01T10:00:00+01:00");
        var (status, body, response) = await GetAsync((string)answer["note"]!["address"]!, accept);
        Assert.Equal(HttpStatusCode.OK, status);
        Assert.Equal(expected, response.Content.Headers.ContentType!.MediaType);
        Assert.Contains("Pegs at home", body);
    }

    [Fact]
    public async Task A_note_is_found_by_what_its_sentences_rest_on_and_keeps_it_from_being_deleted()
    {
        var (person, programme) = await ProgrammeAsync();
        var note = (await SessionAsync(person, programme, "2025-09-01T10:00:00+01:00", "Easier today."))["note"]!;
        var sources = note["statements"]!.AsArray().SelectMany(s => s!["evidence"]!.AsArray()).Select(e => (string)e!).Distinct().ToList();
        Assert.Contains(sources, s => s.StartsWith("Procedure/", StringComparison.Ordinal));
        Assert.All(sources, s => Assert.DoesNotContain("Composition/", s));
        foreach (var source in sources)
        {
            var address = source.Split("/_history/")[0];
            var (status, found, _) = await GetAsync($"/fhir/Composition?entry={address}");
            Assert.Equal(HttpStatusCode.OK, status);
            Assert.Contains($"\"{((string)note["address"]!).Split('/')[^1]}\"", found);
            using var request = new HttpRequestMessage(HttpMethod.Delete, $"/fhir/{address}");
            request.Headers.TryAddWithoutValidation("If-Match", $"W/\"{source.Split('/')[^1]}\"");
            using var refused = await app.Http.SendAsync(request);
            Assert.Equal(HttpStatusCode.Conflict, refused.StatusCode);
        }
    }

    [Fact]
    public async Task What_is_not_offered_is_said_with_what_is()
    {
        var (person, programme) = await ProgrammeAsync();
        var answer = await SessionAsync(person, programme, "2025-09-01T10:00:00+01:00");
        var (status, body, _) = await GetAsync((string)answer["note"]!["address"]!, "image/png");
        Assert.Equal(HttpStatusCode.NotAcceptable, status);
        Assert.Contains("text/plain", body);
    }

    [Fact]
    public async Task Each_session_brings_the_one_open_draft_up_to_date()
    {
        var (person, programme) = await ProgrammeAsync();
        var first = await SessionAsync(person, programme, "2025-09-01T10:00:00+01:00");
        var second = await SessionAsync(person, programme, "2025-09-05T10:00:00+01:00");
        Assert.Equal((string)first["note"]!["address"]!, (string)second["note"]!["address"]!);
        Assert.Contains("Adherence lies between 67 % and 100 %: 1 of 3 planned sessions has no report.", string.Join(' ', second["note"]!["statements"]!.AsArray().Select(s => (string)s!["text"]!)));
        var list = (await app.GetAsync($"/api/notes?person={person}")).AsArray();
        Assert.Single(list);
        Assert.Equal("preliminary", (string)list[0]!["status"]!);
        Assert.EndsWith("/_history/2", (string)list[0]!["composition"]!);
    }

    [Fact]
    public async Task Sessions_posted_in_another_order_give_the_same_words()
    {
        string[] days = ["2025-09-01T10:00:00+01:00", "2025-09-03T10:00:00+01:00", "2025-09-05T10:00:00+01:00"];
        var texts = new List<string>();
        foreach (var order in new[] { days, [.. days.Reverse()] })
        {
            var (person, programme) = await ProgrammeAsync();
            JsonNode? answer = null;
            foreach (var day in order)
                answer = await SessionAsync(person, programme, day, $"Done at {day}.");
            texts.Add((string)answer!["note"]!["text"]!);
        }
        Assert.Equal(texts[0], texts[1]);
    }

    [Fact]
    public async Task Asking_for_a_fresh_draft_of_an_unchanged_record_changes_nothing()
    {
        var (person, programme) = await ProgrammeAsync();
        var posted = await SessionAsync(person, programme, "2025-09-01T10:00:00+01:00", "Fine.");
        var before = app.State();
        using var response = await app.Http.PostAsync("/api/notes", TestApp.Json(new JsonObject { ["programme"] = programme }));
        Assert.Equal(HttpStatusCode.OK, response.StatusCode);
        Assert.Equal(before, app.State());
        var fresh = JsonNode.Parse(await response.Content.ReadAsStringAsync())!;
        Assert.Equal(posted["note"]!["statements"]!.ToJsonString(), fresh["statements"]!.ToJsonString());
        Assert.Equal((string)posted["note"]!["composition"]!, (string)fresh["composition"]!);
    }

    [Fact]
    public async Task A_red_flag_heads_the_answer_the_note_and_the_page()
    {
        var (person, programme) = await ProgrammeAsync();
        var answer = await SessionAsync(person, programme, "2025-09-01T10:00:00+01:00", null, "chest-pain");
        Assert.StartsWith("Emergency: chest pain", (string)answer["note"]!["urgent"]![0]!);
        Assert.StartsWith("Emergency: chest pain", (string)answer["note"]!["statements"]![0]!["text"]!);
        var (_, page, response) = await GetAsync((string)answer["note"]!["address"]!, "text/html");
        Assert.True(page.IndexOf("Emergency: chest pain", StringComparison.Ordinal) < page.IndexOf("<h1>", StringComparison.Ordinal));
        Assert.Contains("default-src 'none'", string.Join(' ', response.Headers.GetValues("Content-Security-Policy")));
        Assert.DoesNotContain(answer["suggestions"]!.AsArray(), s => (string)s!["suggestion"]! == "advance");
    }

    [Fact]
    public async Task Every_link_of_the_page_leads_to_the_version_it_names()
    {
        var (person, programme) = await ProgrammeAsync();
        var answer = await SessionAsync(person, programme, "2025-09-01T10:00:00+01:00");
        var links = answer["note"]!["statements"]!.AsArray().SelectMany(s => s!["evidence"]!.AsArray()).Select(e => (string)e!).Distinct().ToList();
        Assert.NotEmpty(links);
        foreach (var link in links)
            Assert.Equal(HttpStatusCode.OK, (await GetAsync($"/fhir/{link}", "application/fhir+json")).Status);
        var (_, page, _) = await GetAsync((string)answer["note"]!["address"]!, "text/html");
        Assert.All(links, link => Assert.Contains($"href=\"/fhir/{link}\"", page));
    }

    [Fact]
    public async Task The_document_passes_its_profile_and_is_the_same_in_both_formats()
    {
        var (person, programme) = await ProgrammeAsync();
        var address = (string)(await SessionAsync(person, programme, "2025-09-01T10:00:00+01:00", "Words & ache <3."))["note"]!["address"]!;
        var json = ResourceReader.Read(System.Text.Encoding.UTF8.GetBytes((await GetAsync(address, "application/fhir+json")).Body), FhirFormat.Json);
        var xml = ResourceReader.Read(System.Text.Encoding.UTF8.GetBytes((await GetAsync(address, "application/fhir+xml")).Body), FhirFormat.Xml);
        Assert.True(json.IsExactly(xml));
        Assert.StartsWith(TestApp.FhirBase + "/Composition/", ((Bundle)json).Entry[0].FullUrl);
        Assert.Empty(TestApp.SharedValidator.Validate(json, RehabRecords.Terms.Profiles.ProgressNoteDocument).Where(i => i.Refuses).Select(i => $"{i.Expression}: {i.Message}"));
    }

    [Theory]
    [InlineData("/api/notes", HttpStatusCode.BadRequest, "person is missing")]
    [InlineData("/api/notes?person=nobody", HttpStatusCode.NotFound, "There is no person 'nobody'")]
    [InlineData("/api/notes/nothing", HttpStatusCode.NotFound, "There is no note 'nothing'")]
    [InlineData("/api/people/nobody/progress", HttpStatusCode.NotFound, "There is no person 'nobody'")]
    public async Task A_wrong_address_is_answered_with_the_remedy(string path, HttpStatusCode expected, string words)
    {
        var (status, body, _) = await GetAsync(path);
        Assert.Equal(expected, status);
        Assert.Contains(words, JsonNode.Parse(body)!.ToJsonString(new System.Text.Json.JsonSerializerOptions { Encoder = System.Text.Encodings.Web.JavaScriptEncoder.UnsafeRelaxedJsonEscaping }));
    }

    [Theory]
    [InlineData("{}", HttpStatusCode.UnprocessableEntity)]
    [InlineData("""{"programme": "nothing"}""", HttpStatusCode.NotFound)]
    [InlineData("""{"programme": "x", "extra": 1}""", HttpStatusCode.BadRequest)]
    public async Task A_draft_needs_a_programme_that_exists(string body, HttpStatusCode expected)
    {
        var before = app.State();
        using var response = await app.Http.PostAsync("/api/notes", TestApp.Json(body));
        Assert.Equal(expected, response.StatusCode);
        Assert.Equal(before, app.State());
    }

    [Fact]
    public async Task Progress_says_what_was_computed_for_each_programme()
    {
        var (person, programme) = await ProgrammeAsync();
        await SessionAsync(person, programme, "2025-09-01T10:00:00+01:00");
        await SessionAsync(person, programme, "2025-09-05T10:00:00+01:00");
        var progress = await app.GetAsync($"/api/people/{person}/progress");
        var one = Assert.Single(progress["programmes"]!.AsArray())!;
        Assert.Equal(programme, (string)one["programme"]!);
        Assert.Equal((3, 2, 0, 1), ((int)one["adherence"]!["due"]!, (int)one["adherence"]!["done"]!, (int)one["adherence"]!["notDone"]!, (int)one["adherence"]!["unknown"]!));
        Assert.Equal(40, (int)one["dose"]![0]!["repetitions"]!);
        Assert.Equal(60, (int)one["dose"]![0]!["planned"]!);
        Assert.Equal("hold", (string)one["suggestions"]![0]!["suggestion"]!);
    }
}
