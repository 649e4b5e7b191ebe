using System.Net;
using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Store;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.Programmes;

public class DraftProgrammeTests(TradeApp app) : IClassFixture<TradeApp>
{
    private const string By = """{ "by": { "name": "Rowan Invented", "role": "physiotherapist" } }""";

    private async Task<(string Person, string Programme)> DraftAsync() => await app.ProgrammeAsync(("status", "\"draft\""));

    [Fact]
    public async Task A_draft_is_stored_as_such_and_activated_by_a_clinician()
    {
        var draft = await DraftAsync();
        Assert.Equal("draft", (string?)(await app.GetAsync($"/api/programmes/{draft.Programme}"))["status"]);
        Assert.All(await app.Store.FindAllAsync<ServiceRequest>($"based-on=CarePlan/{draft.Programme}"), r => Assert.Equal(RequestStatus.Draft, r.Status));
        var (plan, _) = (await app.Store.GetAsync<CarePlan>(draft.Programme))!.Value;
        Assert.Contains("A draft: not handed over to the person yet.", plan.Text!.Div, StringComparison.Ordinal);
        Assert.Empty((await app.GetAsync($"/api/people/{draft.Person}/progress"))["programmes"]!.AsArray());

        var active = await app.PostAsync($"/api/programmes/{draft.Programme}/activation", TradeApp.With(By, ("reporting", """{ "setting": "Kitchen table." }""")));
        Assert.Equal(("active", "Kitchen table."), ((string?)active["status"], (string?)active["reporting"]!["setting"]));
        Assert.Equal(active.ToJsonString(), (await app.GetAsync($"/api/programmes/{draft.Programme}")).ToJsonString());
        Assert.All(await app.Store.FindAllAsync<ServiceRequest>($"based-on=CarePlan/{draft.Programme}"), r => Assert.Equal(RequestStatus.Active, r.Status));
        (plan, _) = (await app.Store.GetAsync<CarePlan>(draft.Programme))!.Value;
        Assert.DoesNotContain("A draft", plan.Text!.Div, StringComparison.Ordinal);
        Assert.Contains("Setting: Kitchen table.", plan.Text.Div, StringComparison.Ordinal);
        var who = Assert.Single(await app.Store.FindAllAsync<Provenance>($"target=CarePlan/{draft.Programme}"));
        Assert.Equal($"CarePlan/{draft.Programme}/_history/2", Assert.Single(who.Target).Reference);
        Assert.Equal("Rowan Invented, physiotherapist", Assert.Single(who.Agent).Who.Display);
        await app.PostAsync("/api/sessions", TradeApp.Session(draft));
    }

    [Fact]
    public async Task Nothing_is_practised_or_noted_of_a_draft()
    {
        var draft = await DraftAsync();
        await app.RefusedAsync("/api/sessions", TradeApp.Session(draft).ToJsonString(), HttpStatusCode.UnprocessableEntity, "programme",
            $"programme is '{draft.Programme}', which is a draft and not handed over yet; activate it first (POST /api/programmes/{draft.Programme}/activation)");
        await app.RefusedAsync("/api/notes", new JsonObject { ["programme"] = draft.Programme }.ToJsonString(), HttpStatusCode.UnprocessableEntity, "programme",
            "which is a draft and not handed over yet, so there is no progress to note");
    }

    [Fact]
    public async Task What_is_active_already_cannot_be_activated()
    {
        var (_, programme) = await app.ProgrammeAsync();
        await app.RefusedAsync($"/api/programmes/{programme}/activation", By, HttpStatusCode.Conflict, "id", $"Programme '{programme}' is active, not draft; only a draft can be activated");
    }

    [Fact]
    public async Task An_activation_sent_twice_with_one_key_is_done_once()
    {
        var draft = await DraftAsync();
        async Task<string> ActivateAsync()
        {
            using var request = new HttpRequestMessage(HttpMethod.Post, $"/api/programmes/{draft.Programme}/activation") { Content = TestApp.Json(By) };
            request.Headers.Add("Idempotency-Key", draft.Programme);
            using var response = await app.Http.SendAsync(request);
            Assert.Equal(HttpStatusCode.OK, response.StatusCode);
            return await response.Content.ReadAsStringAsync();
        }

        Assert.Equal(await ActivateAsync(), await ActivateAsync());
    }

    [Theory]
    [InlineData("{}", "by", "by is missing; give the clinician who hands the programme over")]
    [InlineData("""{ "by": { "name": "Quill", "role": "carer" } }""", "by.role", "by.role is 'carer', which is not a clinician's role")]
    [InlineData("""{ "by": { "name": "Rowan", "role": "physiotherapist" }, "reporting": { "tailored": "x" } }""", "reporting.tailored", "reporting.tailored is 'x'")]
    public async Task A_bad_activation_is_refused_and_the_draft_stays(string body, string field, string says)
    {
        var draft = await DraftAsync();
        await app.RefusedAsync($"/api/programmes/{draft.Programme}/activation", body, HttpStatusCode.UnprocessableEntity, field, says);
        Assert.Equal("draft", (string?)(await app.GetAsync($"/api/programmes/{draft.Programme}"))["status"]);
    }

    [Fact]
    public async Task A_programme_that_is_not_there_cannot_be_activated() =>
        await app.RefusedAsync("/api/programmes/nothing/activation", By, HttpStatusCode.NotFound, "id", "There is no programme 'nothing'");

    [Fact]
    public async Task A_programme_begins_active_or_as_a_draft() => await app.RefusedAsync(
        "/api/programmes", TradeApp.With(TradeApp.Programme(await app.PersonAsync()).ToJsonString(), ("status", "\"completed\"")).ToJsonString(),
        HttpStatusCode.UnprocessableEntity, "status", "status is 'completed', which is not a status a programme begins with; use one of: active, draft");
}

/// <summary>A clinic that asks for 17 lines of CERT, and for the setting (TIDieR 7).</summary>
public sealed class StrictClinic : IAsyncLifetime
{
    public TradeApp App { get; } = new() { Settings = new() { ["RehabRecords:Reporting:Cert"] = "17", ["RehabRecords:Reporting:TidierItems:0"] = "7" } };

    Task IAsyncLifetime.InitializeAsync() => ((IAsyncLifetime)App).InitializeAsync();

    Task IAsyncLifetime.DisposeAsync() => ((IAsyncLifetime)App).DisposeAsync();
}

public class ReportingMinimumTests(StrictClinic clinic) : IClassFixture<StrictClinic>
{
    private readonly TradeApp _app = clinic.App;

    private const string By = """{ "by": { "name": "Rowan Invented", "role": "physiotherapist" } }""";

    [Fact]
    public async Task Below_the_minimum_a_programme_is_refused_as_active_with_the_gaps()
    {
        var body = TradeApp.Programme(await _app.PersonAsync()).ToJsonString();
        await _app.RefusedAsync("/api/programmes", body, HttpStatusCode.UnprocessableEntity, "reporting.setting",
            "reporting.setting is missing; it fills CERT 12 (Setting), TIDieR 7 (Where). The clinic asks for 17 of 19 lines of CERT (6 are filled) and TIDieR 7 before a programme becomes active: fill the gap, or keep the programme as a draft (status draft)");
        await _app.RefusedAsync("/api/programmes", body, HttpStatusCode.UnprocessableEntity, "reporting.motivation", "it fills CERT 6");
    }

    [Fact]
    public async Task It_is_stored_as_a_draft_and_activated_once_the_gaps_are_filled()
    {
        var draft = await _app.ProgrammeAsync(("status", "\"draft\""));
        var check = await _app.GetAsync($"/api/programmes/{draft.Programme}/reporting");
        Assert.False((bool)check["mayBeActive"]!);
        Assert.Equal(17, (int)check["standards"]![0]!["minimum"]!);
        Assert.Contains("7", check["standards"]![1]!["items"]!.AsArray().Where(i => (bool)i!["required"]!).Select(i => (string?)i!["item"]));
        await _app.RefusedAsync($"/api/programmes/{draft.Programme}/activation", By, HttpStatusCode.UnprocessableEntity, "reporting.training", "reporting.training is missing; it fills CERT 2");
        Assert.Equal("draft", (string?)(await _app.GetAsync($"/api/programmes/{draft.Programme}"))["status"]);
        var active = await _app.PostAsync($"/api/programmes/{draft.Programme}/activation", TradeApp.With(By, ("reporting", ReportingTests.Whole)));
        Assert.Equal("active", (string?)active["status"]);
    }

    [Fact]
    public async Task A_programme_that_meets_it_is_active_at_once() => Assert.Equal("active", (string?)(await _app.PostAsync(
        "/api/programmes", TradeApp.With(TradeApp.Programme(await _app.PersonAsync()).ToJsonString(), ("reporting", ReportingTests.Whole))))["status"]);
}
