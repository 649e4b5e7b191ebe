using System.Net;
using System.Text.Json.Nodes;
using RehabRecords.Tests.Documents;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.People;

/// <summary>A precaution that becomes known, or no longer holds, while a programme is under way.</summary>
public sealed class PrecautionTests(TradeApp app) : IClassFixture<TradeApp>
{
    private const string By = """ "by": { "name": "Rowan Invented", "role": "physiotherapist" } """;

    private const string Shoulder = $$"""{ "code": "shoulder-pain", "note": "On lifting.", {{By}} }""";

    [Fact]
    public async Task A_precaution_brings_its_cautions_into_the_answer_and_the_open_draft_and_takes_them_back()
    {
        var (note, of) = await app.DraftAsync();
        var before = await app.NoteAsync(note);
        Assert.DoesNotContain(before["statements"]!.AsArray(), s => (string)s!["rule"]! == "caution-newly-applies");
        var answer = await app.PostAsync($"/api/people/{of.Person}/precautions", JsonNode.Parse(Shoulder)!);
        Assert.Equal(("shoulder-pain", "2026-06-15"), ((string)answer["precaution"]!["code"]!, (string)answer["precaution"]!["since"]!));
        var caution = Assert.Single(answer["cautions"]!.AsArray(), c => (string)c!["code"]! == "shoulder-pain")!;
        Assert.Equal(of.Programme, (string)caution["programme"]!);
        var drafted = (await app.NoteAsync(note))["statements"]!.AsArray().Where(s => (string)s!["rule"]! == "caution-newly-applies").Select(s => (string)s!["text"]!);
        Assert.Contains((string)caution["text"]!, drafted);
        Assert.Contains((await app.GetAsync($"/api/people/{of.Person}"))["precautions"]!.AsArray(), p => (string)p!["code"]! == "shoulder-pain");
        await app.RefusedAsync($"/api/people/{of.Person}/precautions", Shoulder, HttpStatusCode.Conflict, "code", "which is recorded already");

        var path = $"/api/people/{of.Person}/precautions/{(string)answer["precaution"]!["id"]!}/withdrawal";
        await app.RefusedAsync(path, $$"""{ "reason": "ok", {{By}} }""", HttpStatusCode.UnprocessableEntity, "reason");
        var withdrawn = await app.PostAsync(path, JsonNode.Parse($$"""{ "reason": "No pain for two weeks.", {{By}} }""")!);
        Assert.Equal("inactive", (string)withdrawn["status"]!);
        Assert.Empty(withdrawn["cautions"]!.AsArray());
        Assert.DoesNotContain((await app.NoteAsync(note))["statements"]!.AsArray(), s => (string)s!["rule"]! == "caution-newly-applies");
        await app.RefusedAsync(path, $$"""{ "reason": "No pain for two weeks.", {{By}} }""", HttpStatusCode.Conflict, "precaution", "not active");
    }

    [Theory]
    [InlineData("""{ "code": "tiredness", """, "code", "which is not a precaution")]
    [InlineData("""{ """, "code", "code is missing")]
    [InlineData("""{ "code": "swelling", "since": "2027-01-01", """, "since", "which is to come")]
    public async Task A_precaution_that_cannot_be_recorded_is_refused_with_the_remedy(string body, string field, string says) =>
        await app.RefusedAsync($"/api/people/{await app.PersonAsync()}/precautions", body + By + "}", HttpStatusCode.UnprocessableEntity, field, says);

    [Fact]
    public async Task A_measure_brings_the_open_draft_up_to_date()
    {
        var (note, of) = await app.DraftAsync();
        var version = await app.VersionAsync(note);
        await app.PostAsync("/api/measures", JsonNode.Parse($$"""{ "person": "{{of.Person}}", "measure": "box-and-block", "side": "right", "value": 27, "unit": "{blocks}/min", "measuredAt": "2026-06-14T11:00:00+01:00" }""")!);
        var after = await app.NoteAsync(note);
        Assert.Equal(version + 1, after.Version());
        Assert.Contains("27", (string)after.Statement("measure")["text"]!);
        Assert.Equal("2026-06-14", (string)after["to"]!);
    }

    [Fact]
    public async Task A_pause_that_is_still_to_come_can_be_withdrawn_and_one_that_has_begun_cannot()
    {
        var (_, of) = await app.DraftAsync();
        var pauses = $"/api/programmes/{of.Programme}/pauses";
        await app.PostAsync(pauses, JsonNode.Parse($$"""{ "from": "2026-06-20", "to": "2026-06-25", "reason": "Away.", {{By}} }""")!);
        await app.PostAsync($"{pauses}/2026-06-20/withdrawal", JsonNode.Parse($$"""{ "reason": "Stays at home.", {{By}} }""")!);
        Assert.Empty((await app.GetAsync($"/api/programmes/{of.Programme}"))["pauses"]!.AsArray());
        var kept = await app.GetAsync($"/fhir/Provenance?target=CarePlan/{of.Programme}");
        Assert.Contains("Stays at home.", kept.ToJsonString());
        await app.PostAsync(pauses, JsonNode.Parse($$"""{ "from": "2026-06-15", "reason": "Unwell.", {{By}} }""")!);
        await app.RefusedAsync($"{pauses}/2026-06-15/withdrawal", $$"""{ "reason": "Better.", {{By}} }""", HttpStatusCode.Conflict, "from", "end it instead");
        await app.RefusedAsync($"{pauses}/2026-06-20/withdrawal", $$"""{ "reason": "Better.", {{By}} }""", HttpStatusCode.NotFound, "from");
    }
}
