using System.Net;
using System.Text.Json.Nodes;
using System.Xml.Linq;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.Pages;

public class PersonPageTests(TradeApp app) : IClassFixture<TradeApp>
{
    private static JsonObject PegTest(string person, string at, double? seconds) => TradeApp.With(
        """{ "measure": "nine-hole-peg", "side": "right", "unit": "s", "assessor": { "name": "Rowan Invented", "role": "physiotherapist" } }""",
        ("person", $"\"{person}\""), ("measuredAt", $"\"{at}\""),
        ("status", seconds is null ? "\"unable\"" : "\"completed\""), ("value", seconds?.ToString(System.Globalization.CultureInfo.InvariantCulture)),
        ("timeLimitSeconds", null));

    private async Task<string> PageAsync(string address)
    {
        using var response = await app.Http.GetAsync(address);
        var html = await response.Content.ReadAsStringAsync();
        Assert.True(response.IsSuccessStatusCode, html);
        return html;
    }

    [Fact]
    public async Task The_page_shows_practice_measures_and_the_draft_each_with_what_it_rests_on()
    {
        var (person, programme) = await app.ProgrammeAsync();
        await app.PostAsync("/api/sessions", TradeApp.Session((person, programme)));
        await app.PostAsync("/api/measures", PegTest(person, "2026-06-02T10:00:00+01:00", 62.5));
        await app.PostAsync("/api/measures", PegTest(person, "2026-06-12T10:00:00+01:00", 41.2));
        var page = await PageAsync($"/people/{person}");
        var words = WebUtility.HtmlDecode(page);
        Assert.Contains("<h1>Perrin Placeholder</h1>", page);
        Assert.Contains("reduced sensation", words, StringComparison.OrdinalIgnoreCase);
        // 15 days to today, 15 June; one done on the 10th.
        Assert.Contains("10<b aria-hidden=\"true\">●</b>", words);
        Assert.Contains("11<b aria-hidden=\"true\">?</b>", words);
        Assert.Contains("16</td>", words);
        Assert.Contains("62.5 s", words);
        Assert.Contains("41.2 s", words);
        Assert.Contains("Chen", words);
        Assert.Contains("Progress note (draft)", words);
        Assert.Contains($"/fhir/Observation/", page);
    }

    [Fact]
    public async Task A_chart_is_an_image_with_words_and_carries_no_inline_style()
    {
        var (person, _) = await app.ProgrammeAsync();
        await app.PostAsync("/api/measures", PegTest(person, "2026-06-02T10:00:00+01:00", null));
        await app.PostAsync("/api/measures", PegTest(person, "2026-06-09T10:00:00+01:00", 88));
        await app.PostAsync("/api/measures", PegTest(person, "2026-06-12T10:00:00+01:00", 80));
        var page = await PageAsync($"/people/{person}");
        Assert.DoesNotContain("style=", page);
        Assert.DoesNotContain("<script", page);
        var svg = XElement.Parse(page.Split("<svg").Select(part => "<svg" + part.Split("</svg>")[0] + "</svg>").First(chart => chart.Contains("measure-1-title", StringComparison.Ordinal)));
        XNamespace ns = "http://www.w3.org/2000/svg";
        Assert.Equal("img", (string?)svg.Attribute("role"));
        Assert.Contains("1 result without a value, marked by a cross", svg.Element(ns + "desc")!.Value);
        Assert.Contains("unable", svg.Descendants(ns + "text").Select(t => t.Value));
        // Two values make a line of two points; none is drawn for the test that could not be done.
        Assert.Contains(svg.Descendants(ns + "polyline"), line => ((string)line.Attribute("points")!).Split(' ', StringSplitOptions.RemoveEmptyEntries).Length == 2);
    }

    [Fact]
    public async Task A_person_without_a_programme_has_a_page_too()
    {
        var page = WebUtility.HtmlDecode(await PageAsync($"/people/{await app.PersonAsync()}"));
        Assert.Contains("No programme has been written yet.", page);
    }

    [Fact]
    public async Task A_person_who_is_not_there_is_told_on_a_page_to_a_browser_and_as_problem_details_to_a_program()
    {
        using var request = new HttpRequestMessage(HttpMethod.Get, "/people/nobody");
        request.Headers.TryAddWithoutValidation("Accept", "text/html,application/xhtml+xml;q=0.9");
        using var page = await app.Http.SendAsync(request);
        Assert.Equal(HttpStatusCode.NotFound, page.StatusCode);
        Assert.Equal("text/html", page.Content.Headers.ContentType?.MediaType);
        Assert.Contains("There is no person", WebUtility.HtmlDecode(await page.Content.ReadAsStringAsync()));
        using var problem = await app.Http.GetAsync("/people/nobody");
        Assert.Equal("application/problem+json", problem.Content.Headers.ContentType?.MediaType);
    }

    [Fact]
    public async Task Pages_run_nothing_and_load_nothing_from_elsewhere()
    {
        using var response = await app.Http.GetAsync("/caseload");
        var policy = Assert.Single(response.Headers.GetValues("Content-Security-Policy"));
        Assert.Contains("default-src 'none'", policy);
        Assert.DoesNotContain("unsafe", policy);
        var html = await response.Content.ReadAsStringAsync();
        var style = html.Split("href=\"").Select(part => part.Split('"')[0]).Single(part => part.StartsWith("/assets/pages.css", StringComparison.Ordinal));
        using var asset = await app.Http.GetAsync(style);
        Assert.Equal("text/css", asset.Content.Headers.ContentType?.MediaType);
        Assert.Contains("immutable", asset.Headers.CacheControl!.ToString());
    }

    [Fact]
    public async Task Help_explains_each_word_with_a_source()
    {
        var page = await PageAsync("/help");
        Assert.Contains("id=\"unknown\"", page);
        Assert.Contains("common practice, no source", page);
    }
}
