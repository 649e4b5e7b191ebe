using System.Net;
using System.Text.Json.Nodes;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.Flags;

public class FlagTests(TradeApp app) : IClassFixture<TradeApp>
{
    private const string Clearance = """
        { "by": { "name": "Rowan Invented", "role": "physiotherapist", "registration": "PH-7" }, "reason": "Seen in clinic, shoulder examined, support changed." }
        """;

    private async Task<(string Person, string Programme, string Flag)> RaisedAsync()
    {
        var of = await app.ProgrammeAsync();
        await app.PostAsync("/api/sessions", TradeApp.Session(of, ("exercises[0].painDuring", "7")));
        var flag = Assert.Single((await app.GetAsync($"/api/flags?person={of.Person}")).AsArray(), f => (string?)f!["code"] == "pain-above-limit")!;
        return (of.Person, of.Programme, (string)flag["id"]!);
    }

    [Fact]
    public async Task A_flag_is_listed_with_urgency_source_and_that_it_freezes_progression()
    {
        var (person, _, id) = await RaisedAsync();
        var flag = await app.GetAsync($"/api/flags/{id}");
        Assert.Equal("active", (string?)flag["status"]);
        Assert.Equal("urgent-review", (string?)flag["urgency"]);
        Assert.True((bool)flag["freezesProgression"]!);
        Assert.Matches("^(Observation|Procedure)/", (string)flag["source"]!);
        Assert.Equal($"Patient/{person}", (string?)flag["person"]);
    }

    [Fact]
    public async Task A_precaution_is_not_a_red_flag()
    {
        var person = await app.PersonAsync();
        Assert.Empty((await app.GetAsync($"/api/flags?person={person}")).AsArray());
        var precaution = (string)(await app.GetAsync($"/api/people/{person}"))["precautions"]![0]!["id"]!;
        using var response = await app.Http.PostAsync($"/api/flags/{precaution}/clearance", TestApp.Json(Clearance));
        Assert.Equal(HttpStatusCode.NotFound, response.StatusCode);
    }

    [Fact]
    public async Task A_clinician_clears_a_flag_once_and_the_reason_is_kept()
    {
        var (_, _, id) = await RaisedAsync();
        var cleared = await app.PostAsync($"/api/flags/{id}/clearance", JsonNode.Parse(Clearance)!);
        Assert.Equal("inactive", (string?)cleared["status"]);
        Assert.False((bool)cleared["freezesProgression"]!);
        Assert.Equal("Rowan Invented, physiotherapist, registration PH-7", (string?)cleared["cleared"]!["by"]);
        Assert.Contains("support changed", (string?)(await app.GetAsync($"/api/flags/{id}"))["cleared"]!["reason"]);
        await app.RefusedAsync($"/api/flags/{id}/clearance", Clearance, HttpStatusCode.Conflict, "id", "is inactive, not active; only an active flag can be cleared");
    }

    [Theory]
    [InlineData("by", null, "by is missing; give the clinician who clears the flag")]
    [InlineData("by.name", null, "by.name is missing")]
    [InlineData("by.role", "\"Patient\"", "by.role is 'Patient', which is not a clinician's role; this needs a registered clinician")]
    [InlineData("by.role", "\"carer\"", "by.role is 'carer'")]
    [InlineData("reason", null, "reason is missing; give what was examined or decided")]
    [InlineData("reason", "\"ok\"", "reason is 'ok', which has 2 characters; say in at least 10 what was examined or decided")]
    public async Task A_clearance_without_clinician_or_reason_is_refused(string path, string? json, string message)
    {
        var (_, _, id) = await RaisedAsync();
        await app.RefusedAsync($"/api/flags/{id}/clearance", TradeApp.With(Clearance, (path, json)).ToJsonString(), HttpStatusCode.UnprocessableEntity,
            message[..message.IndexOf(' ', StringComparison.Ordinal)], message);
    }

    [Fact]
    public async Task A_flag_of_nobody_is_not_found()
    {
        using var response = await app.Http.GetAsync("/api/flags?person=nobody");
        Assert.Equal(HttpStatusCode.NotFound, response.StatusCode);
    }
}
