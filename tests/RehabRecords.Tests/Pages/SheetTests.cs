using System.Net;
using System.Text.Json.Nodes;
using RehabRecords.Pages.Sheets;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.Pages;

public class SheetTests(TradeApp app) : IClassFixture<TradeApp>
{
    private async Task<string> PageAsync(string address)
    {
        using var response = await app.Http.GetAsync(address);
        var html = await response.Content.ReadAsStringAsync();
        Assert.True(response.IsSuccessStatusCode, html);
        return WebUtility.HtmlDecode(html);
    }

    [Fact]
    public async Task The_home_sheet_says_all_that_the_prescription_says_and_nothing_else_of_the_record()
    {
        var (person, programme) = await app.ProgrammeAsync();
        var sheet = await PageAsync($"/programmes/{programme}/home-sheet");
        foreach (var part in new[]
        {
            "Practice at home for Perrin", "From 1 June 2026 to 12 July 2026. Once every day.", "Perrin and Quill Placeholder", "above 5 out of 10",
            "Stacking coins", "ten coins (or ten buttons)", "sitting at a table", "Stack ten coins one by one", "3 sets of 12 repetitions", "Use smaller coins.", "Rest the wrist.",
            "Stop if the shoulder hurts.", "The coin stays on the stack.", "Sudden drooping of the face", "your right hand",
        })
            Assert.Contains(part, sheet, StringComparison.Ordinal);
        // The sheet lies on a kitchen table: no family name of the person, no birth date, no ids.
        foreach (var secret in new[] { "1956", "01632 960099", person, "Box and block" })
            Assert.DoesNotContain(secret, sheet, StringComparison.Ordinal);
    }

    [Fact]
    public async Task Size_and_paper_are_a_choice()
    {
        var (_, programme) = await app.ProgrammeAsync();
        var sheet = await PageAsync($"/programmes/{programme}/home-sheet?size=large&paper=letter");
        Assert.Contains("<body class=\"large\">", sheet);
        Assert.Contains("/assets/paper-letter.css", sheet);
        Assert.Contains("/assets/paper-a4.css", await PageAsync($"/programmes/{programme}/home-sheet"));
        Assert.Contains("/assets/paper-wide-a4.css", await PageAsync($"/programmes/{programme}/diary-sheet"));
    }

    [Fact]
    public async Task The_diary_has_a_place_for_everything_a_session_takes()
    {
        var (_, programme) = await app.ProgrammeAsync();
        var diary = await PageAsync($"/programmes/{programme}/diary-sheet");
        foreach (var field in new[] { "Date", "Time", "Written by", "Not done that day, because", "Sets", "Times in all", "Minutes", "Help", "Pain before", "Pain during", "Pain after", "Effort", "Tired", "Done well", "Left out, because", "Anything to tell" })
            Assert.Contains(field, diary, StringComparison.Ordinal);
        Assert.Contains("Stacking coins", diary);
    }

    [Fact]
    public async Task A_picture_of_the_clinic_stands_on_the_sheet_and_one_from_elsewhere_is_never_fetched()
    {
        using var found = await app.Http.GetAsync("/fhir/ActivityDefinition?identifier=coin-stacking%7C1.0.0");
        var bundle = JsonNode.Parse(await found.Content.ReadAsStringAsync())!;
        var exercise = bundle["entry"]?.AsArray().FirstOrDefault()?["resource"];
        exercise ??= (await app.GetAsync("/fhir/ActivityDefinition?title=Stacking"))["entry"]![0]!["resource"];
        var copy = exercise!.DeepClone().AsObject();
        copy["relatedArtifact"] = JsonNode.Parse("""
            [{ "type": "documentation", "document": { "contentType": "image/png", "title": "A stack of coins", "data": "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNk+M9QDwADhgGAWjR9awAAAABJRU5ErkJggg==" } },
             { "type": "documentation", "document": { "contentType": "image/png", "url": "https://elsewhere.example/x.png" } }]
            """);
        using var put = new HttpRequestMessage(HttpMethod.Put, $"/fhir/ActivityDefinition/{copy["id"]}") { Content = TestApp.Json(copy, "application/fhir+json") };
        put.Headers.TryAddWithoutValidation("If-Match", $"W/\"{copy["meta"]!["versionId"]}\"");
        using var stored = await app.Http.SendAsync(put);
        Assert.True(stored.IsSuccessStatusCode, await stored.Content.ReadAsStringAsync());
        var (_, programme) = await app.ProgrammeAsync();
        var sheet = await PageAsync($"/programmes/{programme}/home-sheet");
        Assert.Contains("alt=\"A stack of coins\"", sheet);
        Assert.DoesNotContain("elsewhere.example", sheet);
    }

    [Theory]
    // Worked by hand from the published formula (Senter and Smith 1967): 4.71 * letters/words + 0.5 * words/sentences - 21.43.
    [InlineData("The cat sat on the mat. ", 10, 4.71 * 17 / 6 + 0.5 * 6 - 21.43)]
    [InlineData("Rehabilitation necessitates considerable repetition. ", 10, 4.71 * 48 / 4 + 0.5 * 4 - 21.43)]
    public void The_readability_index_is_the_published_one(string sentence, int times, double grade) =>
        Assert.Equal(Math.Max(0, grade), Readability.Grade(string.Concat(Enumerable.Repeat(sentence, times)))!.Value, 9);

    /// <summary>A library that shares no code with ours computes the same rows in tests/oracles.</summary>
    [Fact]
    public void The_readability_index_is_what_another_library_computes()
    {
        var rows = JsonNode.Parse(File.ReadAllText(Path.Combine(Repository.Root, "tests/oracles/readability.json")))!.AsArray();
        Assert.NotEmpty(rows);
        Assert.All(rows, row => Assert.Equal(Math.Max(0, (double)row!["grade"]!), Readability.Grade((string)row["text"]!)!.Value, 9));
    }

    [Fact]
    public void Too_little_text_has_no_grade() => Assert.Null(Readability.Grade("Stop if it hurts."));
}
