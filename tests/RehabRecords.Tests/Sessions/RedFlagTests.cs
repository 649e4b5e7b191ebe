using System.Text.Json.Nodes;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.Sessions;

public class RedFlagTests(TradeApp app) : IClassFixture<TradeApp>
{
    [Theory]
    [InlineData("redFlags", """["new-weakness"]""", "new-weakness", "emergency")]
    [InlineData("redFlags", """["chest-pain"]""", "chest-pain", "emergency")]
    [InlineData("exercises[0].painDuring", "6", "pain-above-limit", "urgent-review")]
    [InlineData("exercises[0].painAfter", "8", "pain-above-limit", "urgent-review")]
    public async Task A_red_flag_comes_first_in_the_answer_and_freezes_progression(string path, string json, string code, string urgency)
    {
        var answer = (await app.PostAsync("/api/sessions", TradeApp.Session(await app.ProgrammeAsync(), (path, json)))).AsObject();
        Assert.Equal("urgent", answer.First().Key);
        var urgent = answer["urgent"]!.AsArray().First(u => (string?)u!["code"] == code)!;
        Assert.Equal(urgency, (string?)urgent["urgency"]);
        Assert.NotEmpty((string)urgent["text"]!);
        Assert.Contains(answer["flags"]!.AsArray(), f => (string?)f!["code"] == code);
        Assert.All(answer["suggestions"]!.AsArray(), s => Assert.Equal("stop-and-review", (string?)s!["suggestion"]));
    }

    [Fact]
    public async Task Pain_at_the_limit_is_not_above_it()
    {
        var answer = await app.PostAsync("/api/sessions", TradeApp.Session(await app.ProgrammeAsync(), ("exercises[0].painDuring", "5")));
        Assert.DoesNotContain(answer["flags"]!.AsArray(), f => (string?)f!["code"] == "pain-above-limit");
    }

    [Fact]
    public async Task A_severe_fall_by_itself_is_reported_without_exercises_and_is_not_practice()
    {
        var answer = await app.PostAsync("/api/sessions", TradeApp.Session(await app.ProgrammeAsync(), ("exercises", null), ("remark", null),
            ("adverseEvents", """[{ "kind": "fall", "severity": "severe", "description": "Slipped beside the table and hurt the wrist." }]""")));
        Assert.Contains(answer["urgent"]!.AsArray(), u => (string?)u!["code"] == "fall-with-injury");
        Assert.Equal(0, (int?)answer["adherence"]!["done"]);
    }

    [Fact]
    public async Task The_most_urgent_comes_first()
    {
        var answer = await app.PostAsync("/api/sessions", TradeApp.Session(await app.ProgrammeAsync(), ("exercises[0].painDuring", "9"), ("redFlags", """["face-droop"]""")));
        Assert.Equal("face-droop", (string?)answer["urgent"]![0]!["code"]);
    }

    [Fact]
    public async Task Clearing_every_flag_unfreezes_progression_and_nothing_else_does()
    {
        var of = await app.ProgrammeAsync();
        await app.PostAsync("/api/sessions", TradeApp.Session(of, ("exercises[0].painDuring", "7"), ("exercises[0].painAfter", "0"), ("doneAt", "\"2026-06-08T10:00:00+01:00\"")));
        var calm = await app.PostAsync("/api/sessions", TradeApp.Session(of, ("doneAt", "\"2026-06-09T10:00:00+01:00\"")));
        Assert.Null(calm["urgent"]);
        Assert.All(calm["suggestions"]!.AsArray(), s => Assert.Equal("stop-and-review", (string?)s!["suggestion"]));

        foreach (var flag in (await app.GetAsync($"/api/flags?person={of.Person}")).AsArray())
            await app.PostAsync($"/api/flags/{(string?)flag!["id"]}/clearance", JsonNode.Parse(
                """{ "by": { "name": "Rowan Invented", "role": "physiotherapist" }, "reason": "Examined; the limit was explained again." }""")!);
        var after = await app.PostAsync("/api/sessions", TradeApp.Session(of, ("doneAt", "\"2026-06-10T10:00:00+01:00\"")));
        Assert.Empty(after["flags"]!.AsArray());
        Assert.DoesNotContain(after["suggestions"]!.AsArray(), s => (string?)s!["suggestion"] == "stop-and-review");
    }
}
