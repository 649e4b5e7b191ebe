using System.Net;
using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using RehabRecords.Clinical;
using RehabRecords.Fhir.Store;
using RehabRecords.Host;
using RehabRecords.Programmes;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.Programmes;

public class ReportingTests(TradeApp app) : IClassFixture<TradeApp>
{
    internal const string Whole = """
        { "training": "The carer was shown it twice.", "grouping": "Alone, at home.", "supervision": "Prompts by the carer.", "setting": "Kitchen table.",
          "motivation": "A tally on the fridge.", "adherenceMeasure": "Reported sessions.", "fidelityMeasure": "Watched at each visit.", "progressionRule": "Three good sessions.",
          "harmReporting": "By telephone, the same day.", "otherParts": "None.", "tailored": "tailored", "tailoringReason": "Smaller coins for the clinic's goal." }
        """;

    private const string Goals = """[{ "description": "Lay the table.", "levels": { "-2": "a", "-1": "b", "0": "c", "+1": "d", "+2": "e" }, "due": "2026-07-10" }]""";

    private static readonly string[] Members =
        ["training", "grouping", "supervision", "setting", "motivation", "adherenceMeasure", "fidelityMeasure", "progressionRule", "harmReporting", "otherParts", "tailored", "tailoringReason"];

    private static JsonObject Bare(string person) => TradeApp.Programme(person);

    private static async Task<JsonNode> CheckAsync(TradeApp app, JsonNode programme) => await app.GetAsync($"/api/programmes/{(string?)programme["id"]}/reporting");

    private static JsonNode Line(JsonNode check, string standard, string item) =>
        check["standards"]!.AsArray().Single(s => (string?)s!["standard"] == standard)!["items"]!.AsArray().Single(i => (string?)i!["item"] == item)!;

    [Fact]
    public async Task What_the_standards_ask_for_is_kept_coded_and_said_in_words()
    {
        var posted = await app.PostAsync("/api/programmes", TradeApp.With(Bare(await app.PersonAsync()).ToJsonString(), ("reporting", Whole)));
        Assert.Equal(JsonNode.Parse(Whole)!.AsObject().ToDictionary(m => m.Key, m => (string?)m.Value), posted["reporting"]!.AsObject().ToDictionary(m => m.Key, m => (string?)m.Value));
        Assert.Equal(posted.ToJsonString(), (await app.GetAsync($"/api/programmes/{(string?)posted["id"]}")).ToJsonString());
        var (plan, _) = (await app.Store.GetAsync<CarePlan>((string)posted["id"]!))!.Value;
        Assert.DoesNotContain(TestApp.SharedValidator.Validate(plan), i => i.Refuses);
        Assert.Equal(12, plan.GetExtensions(Terms.Extensions.Reporting).Count());
        foreach (var said in new[] { "Setting: Kitchen table.", "How harm is reported: By telephone, the same day.", "Who delivers it and their training: The carer was shown it twice." })
            Assert.Contains(said, plan.Text!.Div, StringComparison.Ordinal);
    }

    [Fact]
    public async Task Every_line_of_both_standards_is_listed_with_what_fills_it()
    {
        var check = await CheckAsync(app, await app.PostAsync("/api/programmes", Bare(await app.PersonAsync())));
        Assert.Equal([("CERT", 19), ("TIDieR", 12)], check["standards"]!.AsArray().Select(s => ((string?)s!["standard"], (int)s["lines"]!)));
        Assert.All(check["standards"]!.AsArray(), s => Assert.Equal((int)s!["filled"]!, s["items"]!.AsArray().Count(i => (bool)i!["met"]!)));
        Assert.True((bool)check["mayBeActive"]!);
        Assert.True((bool)Line(check, "CERT", "8")["met"]!);
        var setting = Assert.Single(Line(check, "CERT", "12")["fields"]!.AsArray())!;
        Assert.Equal((false, "reporting.setting"), ((bool)setting["filled"]!, (string?)setting["filledBy"]));
        Assert.Contains("once practice is reported", (string)Line(check, "TIDieR", "12")["fields"]![0]!["filledBy"]!, StringComparison.Ordinal);
        Assert.Contains("Slade", (string)check["standards"]![0]!["source"]!["citation"]!, StringComparison.Ordinal);
    }

    /// <summary>Each member of the request fills the lines that name it and no other; the counts follow from that.</summary>
    [Fact]
    public async Task Each_member_fills_its_own_lines()
    {
        async Task<HashSet<string>> MetAsync(string? reporting) => [.. (await CheckAsync(app, await app.PostAsync("/api/programmes", TradeApp.With(Bare(await app.PersonAsync()).ToJsonString(), ("reporting", reporting)))))
            ["standards"]!.AsArray().SelectMany(s => s!["items"]!.AsArray().Where(i => (bool)i!["met"]!).Select(i => $"{(string?)s["standard"]} {(string?)i!["item"]}"))];
        var none = await MetAsync(null);
        string[][] fills = [["CERT 2", "TIDieR 5"], ["CERT 3", "TIDieR 6"], ["CERT 4"], ["CERT 12", "TIDieR 7"], ["CERT 6"], ["CERT 5"], ["CERT 16a", "TIDieR 11"], ["CERT 7a"], ["CERT 11"], ["CERT 10"], ["CERT 14a"], ["CERT 14b"]];
        foreach (var (member, lines) in Members.Zip(fills))
        {
            var met = await MetAsync($$"""{ "{{member}}": "{{(member == "tailored" ? "tailored" : "x")}}" }""");
            Assert.Equal(lines.Order(StringComparer.Ordinal), met.Except(none).Order(StringComparer.Ordinal));
        }

        Assert.Equal(["CERT 14a", "CERT 14b"], (await MetAsync("""{ "tailored": "generic" }""")).Except(none).Order(StringComparer.Ordinal));
    }

    [Fact]
    public async Task A_whole_description_fills_all_but_what_practice_shows_and_that_fills_with_the_first_session()
    {
        var person = await app.PersonAsync();
        var posted = await app.PostAsync("/api/programmes", TradeApp.With(Bare(person).ToJsonString(), ("reporting", Whole), ("goals", Goals)));
        var before = await CheckAsync(app, posted);
        Assert.Equal([18, 10], before["standards"]!.AsArray().Select(s => (int)s!["filled"]!));
        await app.PostAsync("/api/sessions", TradeApp.Session((person, (string)posted["id"]!)));
        Assert.Equal([19, 12], (await CheckAsync(app, posted))["standards"]!.AsArray().Select(s => (int)s!["filled"]!));
    }

    [Fact]
    public async Task An_exercise_that_lacks_something_is_named()
    {
        var code = $"plain-{TradeApp.Next()}";
        await app.PostAsync("/api/exercises", TradeApp.With(TradeApp.Exercise, ("code", $"\"{code}\""), ("title", "\"Plain thing\""), ("equipment", "[]"), ("helpLevel", null)));
        var check = await CheckAsync(app, await app.PostAsync("/api/programmes", TradeApp.With(Bare(await app.PersonAsync()).ToJsonString(), ("exercises[0].exercise", $"\"{code}|1.0.0\""))));
        Assert.Equal("Plain thing", (string?)Assert.Single(Line(check, "CERT", "1")["fields"]![0]!["exercises"]!.AsArray()));
        Assert.False((bool)Line(check, "CERT", "4")["met"]!);
    }

    [Fact]
    public void Every_field_the_standards_ask_for_is_one_the_record_can_fill() =>
        Assert.All(ReportingCheck.Fields, f => Assert.NotEqual("", ReportingFields.FilledBy(f)));

    [Theory]
    [InlineData("tailored", "\"somewhat\"", "reporting.tailored is 'somewhat', which is not a way of making a programme; use one of: generic, tailored")]
    [InlineData("setting", "\" \"", "reporting.setting is blank; write a text of 1 to 4000 characters or leave it out")]
    [InlineData("tailored", "\"generic\"", "reporting.tailoringReason says how it was tailored, and tailored is 'generic'", "tailoringReason")]
    public async Task A_bad_item_is_named_with_value_and_remedy(string member, string json, string message, string? named = null) => await app.RefusedAsync(
        "/api/programmes", TradeApp.With(TradeApp.With(Bare(await app.PersonAsync()).ToJsonString(), ("reporting", Whole)).ToJsonString(), ($"reporting.{member}", json)).ToJsonString(),
        HttpStatusCode.UnprocessableEntity, $"reporting.{named ?? member}", message);

    [Fact]
    public async Task The_check_of_a_programme_that_is_not_there_is_not_found()
    {
        using var response = await app.Http.GetAsync("/api/programmes/nothing/reporting");
        Assert.Equal(HttpStatusCode.NotFound, response.StatusCode);
    }

    [Theory]
    [InlineData(0, 0, null, null, null)]
    [InlineData(18, 10, "16a", null, null)]
    [InlineData(19, 0, null, null, "RehabRecords:Reporting:Cert is 19; give 0 to 18")]
    [InlineData(0, 11, null, null, "RehabRecords:Reporting:Tidier is 11; give 0 to 10")]
    [InlineData(-1, 0, null, null, "RehabRecords:Reporting:Cert is -1")]
    [InlineData(0, 0, "16b", null, "RehabRecords:Reporting:CertItems has '16b'")]
    [InlineData(0, 0, null, "13", "RehabRecords:Reporting:TidierItems has '13'")]
    public void A_minimum_that_no_programme_could_meet_stops_the_start(int cert, int tidier, string? certItem, string? tidierItem, string? message)
    {
        var minimum = new ReportingMinimum { Cert = cert, Tidier = tidier, CertItems = certItem is null ? [] : [certItem], TidierItems = tidierItem is null ? [] : [tidierItem] };
        if (message is null)
            minimum.Check(Settings.Section);
        else
            Assert.Contains(message, Assert.Throws<InvalidOperationException>(() => minimum.Check(Settings.Section)).Message, StringComparison.Ordinal);
    }
}
