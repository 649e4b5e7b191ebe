using System.Net;
using System.Text.Json.Nodes;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.Pages;

/// <summary>The caseload page on a record that grows under it. Reasons to look are a choice of ours: common practice, no source.</summary>
public class CaseloadTests(TradeApp app) : IClassFixture<TradeApp>
{
    private async Task<string> PageAsync(string query = "")
    {
        using var response = await app.Http.GetAsync("/caseload" + query);
        var html = await response.Content.ReadAsStringAsync();
        Assert.True(response.IsSuccessStatusCode, html);
        Assert.Equal("text/html", response.Content.Headers.ContentType?.MediaType);
        return WebUtility.HtmlDecode(html);
    }

    private async Task<(string Person, string Programme, string Name)> SomebodyAsync(params (string, string?)[] programme)
    {
        var name = $"Invented{TradeApp.Next()}";
        var person = (string)(await app.PostAsync("/api/people", TradeApp.With(TradeApp.Person, ("familyName", $"\"{name}\""))))["id"]!;
        var plan = (string)(await app.PostAsync("/api/programmes", TradeApp.With(TradeApp.Programme(person).ToJsonString(), programme)))["id"]!;
        return (person, plan, name);
    }

    [Fact]
    public async Task A_programme_without_any_report_is_a_reason_to_look_and_a_report_takes_it_away()
    {
        var (person, programme, name) = await SomebodyAsync();
        Assert.Contains("no report since the programme began on 1 June 2026", await PageAsync($"?find={name}"));
        await app.PostAsync("/api/sessions", TradeApp.Session((person, programme)));
        var after = await PageAsync($"?find={name}");
        Assert.DoesNotContain("No report for some days</a>", after);
        Assert.Contains("10 June 2026", after);
        Assert.Contains("5 days ago", after);
        Assert.Contains("Draft waiting for review</a>: Progress note (draft)", after);
    }

    [Fact]
    public async Task A_red_flag_stands_first_until_it_is_cleared()
    {
        var (person, programme, name) = await SomebodyAsync();
        var session = await app.PostAsync("/api/sessions", TradeApp.Session((person, programme), ("redFlags", """["dizziness"]""")));
        var page = await PageAsync("?why=red-flag");
        Assert.Contains(name, page);
        var reasons = (await PageAsync($"?find={name}")).Split("<ul class=\"reasons\">")[1];
        Assert.True(reasons.IndexOf("Red flag not cleared", StringComparison.Ordinal) < reasons.IndexOf("Draft waiting", StringComparison.Ordinal));
        await app.PostAsync($"/api/flags/{session["flags"]![0]!["id"]}/clearance", JsonNode.Parse("""{ "by": { "name": "Rowan Invented", "role": "physiotherapist" }, "reason": "Seen at home; settled within minutes." }""")!);
        Assert.DoesNotContain(name, await PageAsync("?why=red-flag"));
    }

    [Fact]
    public async Task Goals_and_ends_within_a_week_are_announced()
    {
        var (_, _, name) = await SomebodyAsync(
            ("end", "\"2026-06-20\""),
            ("goals", """[{ "description": "Button a shirt", "levels": { "-2": "a", "-1": "b", "0": "c", "+1": "d", "+2": "e" }, "due": "2026-06-22" }]"""));
        var page = await PageAsync($"?find={name}");
        Assert.Contains("Goal due</a>: Button a shirt: due 22 June 2026", page);
        Assert.Contains("the programme ends on 20 June 2026", page);
        Assert.Contains(name, await PageAsync("?why=goal"));
    }

    [Fact]
    public async Task People_are_found_by_part_of_a_name_whatever_its_case_and_by_identifier()
    {
        var (_, _, name) = await SomebodyAsync();
        Assert.Contains(name, await PageAsync("?find=" + name.ToUpperInvariant()));
        Assert.Contains("Nobody fits what was asked for.", await PageAsync("?find=nobody-of-that-name"));
    }

    [Fact]
    public async Task Names_are_text_and_never_markup()
    {
        // What came in over the FHIR face went through no rule against tags.
        var patient = """{ "resourceType": "Patient", "name": [{ "family": "O\"Odd & <Co>" }] }""";
        using var stored = await app.Http.PostAsync("/fhir/Patient", TestApp.Json(patient, "application/fhir+json"));
        Assert.Equal(HttpStatusCode.Created, stored.StatusCode);
        using var response = await app.Http.GetAsync("/caseload?find=%3Cco%3E");
        var html = await response.Content.ReadAsStringAsync();
        Assert.DoesNotContain("<Co>", html);
        Assert.Contains("&amp; &lt;Co&gt;", html);
    }

    [Fact]
    public async Task A_deleted_person_leaves_the_caseload()
    {
        var name = $"Goner{TradeApp.Next()}";
        var id = (string)(await app.PostAsync("/api/people", TradeApp.With(TradeApp.Person, ("familyName", $"\"{name}\""), ("carer", null), ("precautions", null))))["id"]!;
        Assert.Contains($"{name}</a>", await PageAsync("?find=" + name));
        using var request = new HttpRequestMessage(HttpMethod.Delete, $"/fhir/Patient/{id}");
        request.Headers.TryAddWithoutValidation("If-Match", "W/\"1\"");
        using var deleted = await app.Http.SendAsync(request);
        Assert.Equal(HttpStatusCode.NoContent, deleted.StatusCode);
        Assert.DoesNotContain($"{name}</a>", await PageAsync("?find=" + name));
    }
}
