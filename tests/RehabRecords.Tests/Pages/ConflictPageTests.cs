using System.Net;
using System.Text.Json.Nodes;
using RehabRecords.Tests.Exchange;

namespace RehabRecords.Tests.Pages;

/// <summary>What was changed here and by another team, as a therapist reads and decides it.</summary>
public class ConflictPageTests(Teams teams) : IClassFixture<Teams>
{
    [Theory]
    [InlineData("ours", 3)]
    [InlineData("theirs", 2)]
    public async Task Both_sides_are_read_next_to_each_other_and_one_is_chosen_with_a_reason(string choice, int setsOfKeysNow)
    {
        var (person, programme, conflict) = await ArrivedAsync();
        var browser = await Browser.AsAsync(teams.Here);

        // Found from the caseload and from the person.
        Assert.Contains($"href=\"/conflicts/{conflict}\"", await browser.PageAsync("/caseload?why=conflict"), StringComparison.Ordinal);
        var personPage = await browser.PageAsync($"/people/{person}");
        Assert.Contains($"href=\"/conflicts/{conflict}\"", personPage, StringComparison.Ordinal);
        Assert.Contains("by the team at community.test", Browser.Words(personPage), StringComparison.Ordinal);

        var page = await browser.OpenAsync($"/conflicts/{conflict}");
        Assert.Contains("OPEN Nothing of ours was written over.", page.Text, StringComparison.Ordinal);
        // Field by field, in words, with what both had before; and who did it when.
        Assert.Contains("Theirs: Do 4 sets of 12 repetitions, about 10 minutes in all.", page.Text, StringComparison.Ordinal);
        Assert.Contains("Amount Ours: Do 3 sets of 10 repetitions. (changed) Theirs: Do 2 sets of 10 repetitions. (as before) Before: Do 2 sets of 10 repetitions.", page.Text, StringComparison.Ordinal);
        Assert.Contains("Prescribed by", page.Text, StringComparison.Ordinal);
        Assert.Contains("Rowan Invented, physiotherapist, registration INV-1, 18 June 2026", page.Text, StringComparison.Ordinal);
        Assert.Contains("There, and not known here 18 June 2026:", page.Text, StringComparison.Ordinal);
        Assert.DoesNotContain("ServiceRequest", page.Text, StringComparison.Ordinal);

        // Neither a choice nor a reason may lack, and what was typed stays.
        var without = await browser.PostAsync(page, $"/conflicts/{conflict}", ("seen", page.Field("seen")), ("reason", "Agreed on the telephone."));
        Assert.Equal(HttpStatusCode.UnprocessableEntity, without.Status);
        Assert.Contains("Choose one of the two.", without.Text, StringComparison.Ordinal);
        Assert.Contains(">Agreed on the telephone.</textarea>", without.Html, StringComparison.Ordinal);
        Assert.Equal("requested", (string?)(await teams.Here.GetAsync($"/api/exchange/conflicts/{conflict}"))["status"]);

        var decided = await browser.PostAsync(page, $"/conflicts/{conflict}", ("seen", page.Field("seen")), ("choice", choice), ("reason", "Agreed on the telephone."));
        Assert.True(decided.Status == HttpStatusCode.SeeOther, decided.Text);
        var after = await browser.OpenAsync($"/conflicts/{conflict}");
        Assert.Contains($"by Rowan Invented, physiotherapist, registration INV-1001: {choice}, because: Agreed on the telephone.", after.Text, StringComparison.Ordinal);
        Assert.DoesNotContain("<form method=\"post\" action=\"/conflicts/", after.Html, StringComparison.Ordinal);
        var keys = (await teams.Here.GetAsync($"/api/programmes/{programme}"))["exercises"]!.AsArray().Single(e => ((string)e!["exercise"]!).StartsWith("key-turning", StringComparison.Ordinal))!;
        Assert.Equal(setsOfKeysNow, (int)keys["dosage"]!["sets"]!);
        Assert.DoesNotContain($"/conflicts/{conflict}", await browser.PageAsync($"/people/{person}"), StringComparison.Ordinal);

        // Whoever was slower is told, and nothing is decided twice.
        var late = await browser.PostAsync(page, $"/conflicts/{conflict}", ("seen", page.Field("seen")), ("choice", "ours"), ("reason", "I was late."));
        Assert.Equal(HttpStatusCode.Conflict, late.Status);
        Assert.Contains("Somebody else has decided this meanwhile", late.Text, StringComparison.Ordinal);
    }

    [Fact]
    public async Task Who_read_it_before_the_programme_was_changed_again_decides_anew()
    {
        var (_, programme, conflict) = await ArrivedAsync();
        var browser = await Browser.AsAsync(teams.Here);
        var page = await browser.OpenAsync($"/conflicts/{conflict}");
        await teams.Here.PostAsync($"/api/programmes/{programme}/revisions", Revision("key-turning", 5, "2026-06-19"));
        var before = teams.Here.State();
        var refused = await browser.PostAsync(page, $"/conflicts/{conflict}", ("seen", page.Field("seen")), ("choice", "theirs"), ("reason", "Agreed on the telephone."));
        Assert.Equal(HttpStatusCode.Conflict, refused.Status);
        Assert.Contains("The programme was changed here after you had opened this page", refused.Text, StringComparison.Ordinal);
        Assert.Contains("Ours: Do 5 sets of 10 repetitions.", refused.Text, StringComparison.Ordinal);
        Assert.Contains(">Agreed on the telephone.</textarea>", refused.Html, StringComparison.Ordinal);
        Assert.Equal(before, teams.Here.State());
        // The same by the trade interface.
        using var api = await teams.Here.Http.PostAsync($"/api/exchange/conflicts/{conflict}/resolution", TestApp.Json($$"""{ "choice": "theirs", "by": {{Teams.By}}, "reason": "Agreed.", "seen": "{{page.Field("seen")}}" }"""));
        Assert.Equal(HttpStatusCode.Conflict, api.StatusCode);
        Assert.Equal(before, teams.Here.State());
        var state = (string)(await teams.Here.GetAsync($"/api/exchange/conflicts/{conflict}"))["state"]!;
        Assert.Equal(state, refused.Field("seen"));
        var again = await browser.PostAsync(refused, $"/conflicts/{conflict}", ("seen", state), ("choice", "theirs"), ("reason", "Agreed on the telephone."));
        Assert.True(again.Status == HttpStatusCode.SeeOther, again.Text);
    }

    [Fact]
    public async Task A_persons_own_details_are_compared_by_their_names()
    {
        var number = Trade.TradeApp.Next();
        await teams.Here.PostAsync("/api/people", Trade.TradeApp.With(Trade.TradeApp.Person, ("identifier", $$"""{ "system": "https://hospital.test/id/person", "value": "{{number}}" }"""), ("familyName", "\"Hereborn\"")));
        var there = (string)(await teams.There.PostAsync("/api/people", Trade.TradeApp.With(Trade.TradeApp.Person, ("identifier", $$"""{ "system": "https://hospital.test/id/person", "value": "{{number}}" }"""), ("familyName", "\"Thereborn\""))))["id"]!;
        var programme = (string)(await teams.There.PostAsync("/api/programmes", ProgrammeOf(there)))["id"]!;
        await Teams.ConsentAsync(teams.There, there, Teams.Hospital);
        var answer = await Teams.TakeInAsync(teams.Here, await Teams.HandOverAsync(teams.There, programme, Teams.Hospital));
        var page = await (await Browser.AsAsync(teams.Here)).OpenAsync($"/conflicts/{((string)answer["task"]!)["Task/".Length..]}");
        Assert.Contains("The person's details", page.Text, StringComparison.Ordinal);
        Assert.Contains("Hereborn", page.Text, StringComparison.Ordinal);
        Assert.Contains("Thereborn", page.Text, StringComparison.Ordinal);
        // They have never met, so there is no state before.
        Assert.DoesNotContain("Before: when both were the same", page.Text, StringComparison.Ordinal);
    }

    [Fact]
    public async Task What_is_no_conflict_is_not_there() =>
        Assert.Equal(HttpStatusCode.NotFound, (await (await Browser.AsAsync(teams.Here)).GoAsync("/conflicts/nothing")).Status);

    /// <summary>Two exercises, each revised on one side after the programme was shared, so that what came back waits.</summary>
    private async Task<(string Person, string Programme, string Conflict)> ArrivedAsync()
    {
        teams.Here.Time.Now = DateTimeOffset.Parse("2026-06-15T12:00:00Z");
        teams.TimeThere.Now = DateTimeOffset.Parse("2026-06-15T12:30:00Z");
        var (person, programme) = await teams.PrescribedAsync();
        var there = ((string)(await Teams.TakeInAsync(teams.There, await Teams.HandOverAsync(teams.Here, programme, Teams.Community)))["person"]!)["Patient/".Length..];
        teams.TimeThere.Now = teams.Here.Time.Now = DateTimeOffset.Parse("2026-06-18T12:00:00Z");
        await teams.There.PostAsync($"/api/programmes/{programme}/revisions", Revision("coin-stacking", 4));
        await teams.Here.PostAsync($"/api/programmes/{programme}/revisions", Revision("key-turning", 3));
        await Teams.ConsentAsync(teams.There, there, Teams.Hospital);
        var answer = await Teams.TakeInAsync(teams.Here, await Teams.HandOverAsync(teams.There, programme, Teams.Hospital));
        return (person, programme, ((string)answer["task"]!)["Task/".Length..]);
    }

    private static JsonObject ProgrammeOf(string person) => Trade.TradeApp.Programme(person);

    private static JsonNode Revision(string exercise, int sets, string? from = null) => JsonNode.Parse(
        $$"""{ "by": {{Teams.By}}, "reason": "Goes well."{{(from is null ? "" : $", \"from\": \"{from}\"")}}, "change": [{ "exercise": "{{exercise}}", "dosage": { "sets": {{sets}} } }] }""")!;
}
