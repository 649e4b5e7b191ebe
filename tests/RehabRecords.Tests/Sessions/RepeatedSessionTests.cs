using System.Net;
using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using RehabRecords.Clinical;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.Notes;
using RehabRecords.Progress;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.Sessions;

/// <summary>A session posted again is known again; nothing is stored twice.</summary>
public class RepeatedSessionTests(TradeApp app) : IClassFixture<TradeApp>
{
    private const string Identifier = """{ "system": "https://clinic.example/id/session", "value": "S-{0}" }""";

    private async Task<(HttpStatusCode Status, string Body, string? Location)> PostAsync(JsonObject body, string? key = null)
    {
        using var request = new HttpRequestMessage(HttpMethod.Post, "/api/sessions") { Content = TestApp.Json(body) };
        if (key is not null)
            request.Headers.Add("Idempotency-Key", key);
        using var response = await app.Http.SendAsync(request);
        return (response.StatusCode, await response.Content.ReadAsStringAsync(), response.Headers.Location?.ToString());
    }

    private static string NewIdentifier() => Identifier.Replace("{0}", $"{TradeApp.Next()}", StringComparison.Ordinal);

    [Theory]
    [InlineData(true, false)]
    [InlineData(false, true)]
    [InlineData(true, true)]
    [InlineData(false, false)]
    public async Task Ten_identical_posts_at_once_store_one_session_and_get_the_same_answer(bool byKey, bool byIdentifier)
    {
        var of = await app.ProgrammeAsync();
        var body = TradeApp.Session(of);
        if (byIdentifier)
            body["identifier"] = JsonNode.Parse(NewIdentifier());
        var key = byKey ? $"ten-{TradeApp.Next()}" : null;
        var answers = await Task.WhenAll(Enumerable.Range(0, 10).Select(_ => PostAsync(body, key)));
        Assert.All(answers, a => Assert.Equal(answers[0], a));
        Assert.Equal(HttpStatusCode.Created, answers[0].Status);
        Assert.Single(await app.Store.FindAllAsync<Procedure>($"based-on=CarePlan/{of.Programme}"));
        Assert.Single((await app.Store.FindAllAsync<Composition>($"subject=Patient/{of.Person}")));
    }

    [Fact]
    public async Task The_same_identifier_under_another_key_answers_the_first_result()
    {
        var body = TradeApp.Session(await app.ProgrammeAsync(), ("identifier", NewIdentifier()));
        var first = await PostAsync(body, $"key-{TradeApp.Next()}");
        var before = app.State();
        Assert.Equal(first, await PostAsync(body, $"key-{TradeApp.Next()}"));
        Assert.Equal(first, await PostAsync(body));
        Assert.Equal(before, app.State());
    }

    [Fact]
    public async Task The_same_identifier_with_another_content_is_refused()
    {
        var of = await app.ProgrammeAsync();
        var body = TradeApp.Session(of, ("identifier", NewIdentifier()));
        await PostAsync(body);
        body["remark"] = "Something else.";
        await app.RefusedAsync("/api/sessions", body.ToJsonString(), HttpStatusCode.Conflict, "identifier", "holds with another content; give a new session an identifier of its own");
    }

    [Fact]
    public async Task A_key_used_again_for_another_session_is_refused()
    {
        var of = await app.ProgrammeAsync();
        var key = $"key-{TradeApp.Next()}";
        await PostAsync(TradeApp.Session(of), key);
        var before = app.State();
        var (status, text, _) = await PostAsync(TradeApp.Session(of, ("remark", "\"Other.\"")), key);
        Assert.Equal(HttpStatusCode.UnprocessableEntity, status);
        Assert.Contains("was used before with another body", text);
        Assert.Equal(before, app.State());
    }

    [Theory]
    [InlineData("two words")]
    [InlineData("")]
    public async Task A_key_that_cannot_be_one_is_refused(string key)
    {
        using var request = new HttpRequestMessage(HttpMethod.Post, "/api/sessions") { Content = TestApp.Json(TradeApp.Session(await app.ProgrammeAsync())) };
        request.Headers.TryAddWithoutValidation("Idempotency-Key", key);
        using var response = await app.Http.SendAsync(request);
        Assert.Equal(HttpStatusCode.BadRequest, response.StatusCode);
        Assert.Contains("give one key of 1 to 200 printable ASCII characters", await response.Content.ReadAsStringAsync());
    }

    [Fact]
    public async Task Two_missed_sessions_of_one_day_are_two()
    {
        var of = await app.ProgrammeAsync();
        var missed = TradeApp.Session(of, ("doneAt", null), ("exercises", null), ("missed", """{ "plannedFor": "2026-06-09", "reason": "away" }"""));
        await PostAsync(missed);
        await PostAsync(missed);
        Assert.Equal(2, (await app.Store.FindAllAsync<Procedure>($"based-on=CarePlan/{of.Programme}")).Count);
    }

    [Fact]
    public async Task Different_sessions_at_once_are_all_kept_and_the_draft_knows_them_all()
    {
        var of = await app.ProgrammeAsync();
        var answers = await Task.WhenAll(Enumerable.Range(1, 8).Select(day => PostAsync(TradeApp.Session(of, ("doneAt", $"\"2026-06-{day:00}T10:00:00+01:00\"")))));
        Assert.All(answers, a => Assert.Equal(HttpStatusCode.Created, a.Status));
        Assert.Equal(8, (await app.Store.FindAllAsync<Procedure>($"based-on=CarePlan/{of.Programme}")).Count);
        Assert.Equal(8, answers.Max(a => (int?)JsonNode.Parse(a.Body)!["adherence"]!["done"]));
        var note = Assert.Single(await app.Store.FindAllAsync<Composition>($"subject=Patient/{of.Person}"));
        Assert.Equal("8", note.Meta!.VersionId);
    }

    [Fact]
    public async Task What_was_read_before_another_session_came_in_never_overwrites_the_draft_that_knows_it()
    {
        var of = await app.ProgrammeAsync();
        await PostAsync(TradeApp.Session(of, ("doneAt", "\"2026-06-01T10:00:00+01:00\"")));
        var before = await new ProgressReader(app.Store).ReadAsync(of.Programme);
        await PostAsync(TradeApp.Session(of, ("doneAt", "\"2026-06-02T10:00:00+01:00\"")));

        // Only now are draft and summary looked up: both are newer than what was read.
        var (set, alone) = (new WriteSet(), new WriteSet());
        var notes = new NoteWriter(app.Store);
        await new UpToDate(app.Store, notes, MeasureCatalogue.Default, ClinicRules.Default, TimeProvider.System).AddAsync(set, before);
        await notes.AddAsync(alone, before, Findings.Of(before, MeasureCatalogue.Default, ClinicRules.Default));
        foreach (var late in new[] { set, alone })
            Assert.Equal(Refusal.StaleVersion, (await Assert.ThrowsAsync<RefusedException>(() => app.Store.CommitAsync(late))).Refusal);
        var note = Assert.Single(await app.Store.FindAllAsync<Composition>($"subject=Patient/{of.Person}"));
        Assert.Equal("2", note.Meta!.VersionId);
    }
}
