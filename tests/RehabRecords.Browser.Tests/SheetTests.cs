using System.Globalization;
using System.Text.Json.Nodes;
using System.Text.RegularExpressions;
using RehabRecords.Pages.Sheets;
using RehabRecords.Tests;

namespace RehabRecords.Browser.Tests;

/// <summary>Sheets for whoever takes them home: easily read, whatever the name and the script.</summary>
[Collection(Clinic.Name)]
public partial class SheetTests(ServedClinic clinic)
{
    private const string LongName = "Wolfhildegardis-Maximiliana Anastasia-Theodora";

    /// <summary>"Raise the hand slowly, then lower it. Rest between the sets." in Arabic.</summary>
    private const string Arabic = "ارفع اليد ببطء ثم أنزلها. استرح بين المجموعات.";

    [Theory]
    [InlineData("ada-sampleton")]
    [InlineData("bram-inventley")]
    [InlineData("cora-fictionby")]
    [InlineData("dev-madeup")]
    [InlineData("elin-notreal")]
    [InlineData("farid-exampleton")]
    [InlineData("greta-pastmade")]
    public async Task The_words_of_the_clinics_own_exercises_are_read_by_a_child_of_eleven(string name)
    {
        var sheet = await clinic.App.Http.GetStringAsync($"/programmes/{clinic.Programme(name)}/home-sheet");
        var told = ReadingAge().Match(sheet);
        Assert.True(told.Success, "the sheet tells no reading age");
        Assert.InRange(int.Parse(told.Groups[1].Value, CultureInfo.InvariantCulture), 5, Readability.Age(Readability.Target));
    }

    [Fact]
    public async Task A_long_name_and_words_from_right_to_left_stay_on_the_paper_and_on_a_telephone()
    {
        var person = JsonNode.Parse(await File.ReadAllTextAsync(Path.Combine(Repository.Root, "examples/demo/1-people/ada-sampleton.json")))!.AsObject();
        (person["givenNames"], person["familyName"]) = (new JsonArray(LongName), "von und zu Niederoberwaldhausen-Untermittelfeldkirchen");
        person["identifier"]!["value"] = $"LONG-{Guid.NewGuid():N}"[..16];
        var programme = JsonNode.Parse(await File.ReadAllTextAsync(Path.Combine(Repository.Root, "examples/demo/4-programmes/ada-sampleton.json")))!.AsObject();
        programme["person"] = (string)(await clinic.App.PostAsync("/api/people", person))["id"]!;
        programme["exercises"]![1]!["instruction"] = Arabic;
        var id = (string)(await clinic.App.PostAsync("/api/programmes", programme))["id"]!;
        foreach (var sheet in new[] { "home-sheet", "diary-sheet" })
        {
            var visit = await Visit.MakeAsync(clinic, new ClinicPage($"long-{sheet}", "", _ => $"/programmes/{id}/{sheet}?size=large"));
            Assert.All(visit.TooWide, width => Assert.True(width.Value.Count == 0, $"{sheet} at {width.Key}: {string.Join("; ", width.Value)}"));
            Assert.DoesNotContain(visit.Access, a => a.Impact is "serious" or "critical");
            foreach (var size in new[] { "standard", "large" })
            {
                using var pdf = await Pdf.GetAsync(clinic.App.Http, $"/programmes/{id}/{sheet}.pdf?size={size}");
                pdf.IsSound();
                Assert.NotEmpty(pdf.PagesWith("Theodora"));
            }
        }

        // Its own words stand in their own direction, among those of the sheet.
        var html = await clinic.App.Http.GetStringAsync($"/programmes/{id}/home-sheet");
        Assert.Contains($"For you: <bdi>{Arabic}</bdi>", System.Net.WebUtility.HtmlDecode(html), StringComparison.Ordinal);
    }

    [GeneratedRegex("Automated Readability Index: about ([0-9]+)")]
    private static partial Regex ReadingAge();
}
