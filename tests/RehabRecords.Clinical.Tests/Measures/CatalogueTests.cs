using System.Text.RegularExpressions;

namespace RehabRecords.Clinical.Tests;

public class CatalogueTests
{
    private const string Small = """
        { "id": "x", "order": 1, "title": "X", "recorded": "x", "unit": "s", "unitText": "s", "minimum": 0, "maximum": 10, "step": 1, "decimals": 0,
          "direction": "lower-is-better", "scale": "quantity", "laterality": "per-side", "statuses": ["completed"], "licence": "none", "variants": ["a"],
          "source": { "citation": "c", "mark": "published" }, "otherUnits": [{ "unit": "min", "factor": 60 }],
          "thresholds": [{ "id": "t", "kind": "detectable", "value": 3, "rangeFrom": 2, "level": 95, "hand": "any", "variant": "a", "n": 9,
            "population": { "condition": "stroke", "text": "stroke", "fromDay": 1, "toDay": 9, "windowMark": "published" },
            "method": "m", "source": { "citation": "c", "mark": "published" } }] }
        """;

    [Fact]
    public void A_measure_is_a_file()
    {
        var measure = Assert.Single(MeasureCatalogue.Load([("Measures/x.json", Small)]).All);
        Assert.Equal(("X", 3m, 95), (measure.Title, measure.Thresholds[0].Value, measure.Thresholds[0].Level));
        Assert.Equal(120m, measure.InOwnUnit(2, "min"));
    }

    [Theory]
    [InlineData("\"order\": 1", "\"order\": 0", "order", "must be 1 or more")]
    [InlineData("\"id\": \"x\"", "\"id\": \"y\"", "id", "is y; it must be the file's name")]
    [InlineData("\"title\": \"X\"", "\"title\": \" \"", "title", "must not be empty")]
    [InlineData("\"title\": \"X\",", "", "$")]
    [InlineData("\"title\": \"X\"", "\"title\": null", "$.title")]
    [InlineData("\"lower-is-better\"", "1", "$.direction")]
    [InlineData("\"order\": 1,", "", "$")]
    [InlineData("\"title\": \"X\"", "\"titel\": \"X\"", "$.titel")]
    [InlineData("\"maximum\": 10", "\"maximum\": \"ten\"", "$.maximum")]
    [InlineData("\"maximum\": 10", "\"maximum\": 0", "minimum", "must be below maximum")]
    [InlineData("\"step\": 1", "\"step\": 0", "step", "must be above 0")]
    [InlineData("\"decimals\": 0", "\"decimals\": 5", "decimals", "must be 0 to 4")]
    [InlineData("lower-is-better", "down", "$.direction")]
    [InlineData("\"scale\": \"quantity\"", "\"scale\": \"grades\"", "grades", "are for a coded measure, and it needs two or more")]
    [InlineData("\"scale\": \"quantity\"", "\"scale\": \"grades\", \"grades\": [\"0\", \"1\"]", "thresholds", "do not apply to coded grades")]
    [InlineData("\"scale\": \"quantity\"", "\"scale\": \"quantity\", \"trials\": 0", "trials", "must be 1 or more")]
    [InlineData("[\"completed\"]", "[\"unable\"]", "statuses", "must hold completed")]
    [InlineData("\"source\": { \"citation\": \"c\", \"mark\": \"published\" }, \"other", "\"source\": { \"citation\": \"\", \"mark\": \"published\" }, \"other", "source.citation", "must name where the value comes from")]
    [InlineData("\"source\": { \"citation\": \"c\", \"mark\": \"published\" }, \"other", "\"source\": { \"citation\": \"c\", \"mark\": \"computed\" }, \"other", "source.note", "must say what was computed")]
    [InlineData("\"factor\": 60", "\"factor\": 0", "otherUnits[0].factor", "must be above 0")]
    [InlineData("\"value\": 3", "\"value\": 0", "thresholds[0].value", "must be above 0")]
    [InlineData("\"value\": 3, \"rangeFrom\": 2,", "\"percent\": -1,", "thresholds[0].percent", "must be above 0")]
    [InlineData("\"value\": 3,", "\"value\": 3, \"percent\": 5,", "thresholds[0].value", "give either value or percent")]
    [InlineData("\"value\": 3, \"rangeFrom\": 2,", "", "thresholds[0].value", "give either value or percent")]
    [InlineData("\"rangeFrom\": 2", "\"rangeFrom\": 3", "thresholds[0].rangeFrom", "must be below value, the cautious end of the range")]
    [InlineData("\"level\": 95", "\"level\": 80", "thresholds[0].level", "must be 90 or 95 for a detectable change")]
    [InlineData("\"level\": 95,", "", "thresholds[0].level", "must be 90 or 95 for a detectable change")]
    [InlineData("\"detectable\"", "\"important\"", "thresholds[0].level", "belongs to a detectable change only")]
    [InlineData("\"per-side\"", "\"whole-person\"", null)]
    [InlineData("\"variant\": \"a\"", "\"variant\": \"b\"", "thresholds[0].variant", "is not one of the measure's variants")]
    [InlineData("\"n\": 9", "\"n\": 0", "thresholds[0].n", "must be above 0")]
    [InlineData("\"fromDay\": 1", "\"fromDay\": -1", "thresholds[0].population.fromDay", "must be 0 or more and not after toDay")]
    [InlineData("\"fromDay\": 1", "\"fromDay\": 10", "thresholds[0].population.fromDay", "must be 0 or more and not after toDay")]
    [InlineData(", \"windowMark\": \"published\"", "", "thresholds[0].population.windowMark", "goes with a window of days, and only with one")]
    [InlineData("\"recorded\": \"x\"", "\"recorded\": \"\"", "recorded", "must not be empty")]
    [InlineData("\"unit\": \"s\"", "\"unit\": \"\"", "unit", "must not be empty")]
    [InlineData("\"unitText\": \"s\"", "\"unitText\": \" \"", "unitText", "must not be empty")]
    [InlineData("\"licence\": \"none\"", "\"licence\": \"\"", "licence", "must not be empty")]
    [InlineData("\"variants\": [\"a\"]", "\"variants\": [\"a\"], \"remarks\": [{ \"text\": \"t\", \"source\": { \"citation\": \"\", \"mark\": \"published\" } }]", "remarks[0].source.citation", "must name where the value comes from")]
    [InlineData("\"method\": \"m\", \"source\": { \"citation\": \"c\"", "\"method\": \"m\", \"source\": { \"citation\": \" \"", "thresholds[0].source.citation", "must name where the value comes from")]
    [InlineData("\"value\": 3, \"rangeFrom\": 2,", "\"percent\": 0,", "thresholds[0].percent", "must be above 0")]
    [InlineData("\"scale\": \"quantity\"", "\"scale\": \"quantity\", \"grades\": [\"0\", \"1\"]", "grades", "are for a coded measure, and it needs two or more")]
    [InlineData("\"scale\": \"quantity\"", "\"scale\": \"grades\", \"grades\": [\"0\"]", "grades", "are for a coded measure, and it needs two or more")]
    [InlineData("\"decimals\": 0", "\"decimals\": 4", null)]
    [InlineData("\"fromDay\": 1", "\"fromDay\": 9", null)]
    [InlineData("\"fromDay\": 1, \"toDay\": 9, ", "", "thresholds[0].population.windowMark", "goes with a window of days, and only with one")]
    public void A_wrong_file_stops_the_start_naming_file_and_field(string text, string by, string? field, string? problem = null)
    {
        var json = Small.Replace(text, by);
        Assert.NotEqual(Small, json);
        if (field is null)
        {
            Assert.Single(MeasureCatalogue.Load([("Measures/x.json", json)]).All);
            return;
        }
        var wrong = Assert.Throws<CatalogueException>(() => MeasureCatalogue.Load([("Measures/x.json", json)]));
        Assert.Equal(("Measures/x.json", field), (wrong.File, wrong.Field));
        // Of a wrong shape the reader of the file says in its own words what is wrong.
        Assert.StartsWith($"Data/Measures/x.json: {field}: {problem}", wrong.Message);
        Assert.True(problem is null ? field.StartsWith('$') : wrong.Message.EndsWith(problem, StringComparison.Ordinal), wrong.Message);
    }

    [Fact]
    public void A_row_of_one_hand_needs_a_measure_of_one_side()
    {
        var json = Small.Replace("\"per-side\"", "\"whole-person\"").Replace("\"hand\": \"any\"", "\"hand\": \"more-affected\"");
        Assert.Equal("Data/Measures/x.json: thresholds[0].hand: must be any where no side is tested", Assert.Throws<CatalogueException>(() => MeasureCatalogue.Load([("Measures/x.json", json)])).Message);
    }

    [Fact]
    public void Ids_and_places_are_taken_once()
    {
        var twin = Small.Replace("\"id\": \"x\"", "\"id\": \"y\"");
        Assert.Equal("Data/Measures/y.json: order: is already taken by x", Assert.Throws<CatalogueException>(() => MeasureCatalogue.Load([("Measures/x.json", Small), ("Measures/y.json", twin)])).Message);
        Assert.Equal("id", Assert.Throws<CatalogueException>(() => MeasureCatalogue.Load([("Measures/x.json", Small), ("Other/x.json", Small)])).Field);
        var start = Small.IndexOf("{ \"id\": \"t\"", StringComparison.Ordinal);
        var row = Small[start..Small.LastIndexOf("] }", StringComparison.Ordinal)];
        Assert.Equal("thresholds[1].id", Assert.Throws<CatalogueException>(() => MeasureCatalogue.Load([("Measures/x.json", Small.Replace(row, row + "," + row))])).Field);
        Assert.Equal("Data/Measures/x.json: $: is empty", Assert.Throws<CatalogueException>(() => MeasureCatalogue.Load([("Measures/x.json", "null")])).Message);
    }

    [Theory]
    [InlineData("measure", 36)]
    [InlineData("red-flag", 22)]
    [InlineData("caution", 12)]
    public void Codes_are_those_of_the_mapping(string system, int count)
    {
        var codes = system switch
        {
            "measure" => MeasureCatalogue.Default.All.Select(m => m.Id),
            "red-flag" => SafetyScreen.Catalogue.Select(f => f.Code),
            _ => Cautions.Catalogue.Select(c => c.Code),
        };
        var mapped = Mapped(system).Take(count).ToList();
        Assert.Equal(mapped.Order(), codes.Order());
    }

    [Fact]
    public void Closed_vocabularies_are_those_of_the_mapping()
    {
        Assert.Equal(Mapped("measure-status"), Codes.All<MeasureStatus>());
        Assert.Equal(Mapped("help-level"), Codes.All<HelpLevel>());
        Assert.Equal(Mapped("quality"), Codes.All<Quality>());
        Assert.Equal(Mapped("not-done-reason"), Codes.All<NotDoneReason>());
        Assert.Equal(Mapped("grading-dimension"), Codes.All<GradingDimension>());
        Assert.Empty(Cautions.Catalogue.SelectMany(c => c.Precautions).Except(Mapped("precaution")));
        Assert.Empty(SafetyScreen.Catalogue.SelectMany(f => f.Harms).Select(h => h.Kind).Except(Mapped("adverse-event-kind")));
    }

    [Fact]
    public void Codes_are_read_back()
    {
        Assert.Equal(MeasureStatus.StoppedAtLimit, Codes.Parse<MeasureStatus>("stopped-at-limit"));
        Assert.Null(Codes.TryParse<MeasureStatus>("Completed"));
        Assert.Null(Codes.TryParse<MeasureStatus>(null));
        var refused = Assert.Throws<UnfitInputException>(() => Codes.Parse<HelpLevel>("some", "helpLevel"));
        Assert.Equal("helpLevel is some; allowed: one of independent, set-up, verbal-prompt, hands-on. Use one of these codes.", refused.Message);
    }

    [Fact]
    public void Every_measure_says_its_licence_and_nothing_from_memory_classifies()
    {
        Assert.All(MeasureCatalogue.Default.All, m => Assert.NotEmpty(m.Licence));
        Assert.Equal(["pain-rest", "pain-movement", "pain-night", "pain-task"],
            MeasureCatalogue.Default.All.Where(m => m.Thresholds.Any(t => t.Source.Mark == Mark.FromMemory)).Select(m => m.Id));
        Assert.Equal("one of", Assert.Throws<UnfitInputException>(() => MeasureCatalogue.Default.Get("unheard-of")).Problem.Allowed[..6]);
        Assert.Null(MeasureCatalogue.Default.Find("unheard-of"));
    }

    // "* `system`...: `code`, `code`." as the mapping lists its code systems.
    private static List<string> Mapped(string system)
    {
        var text = File.ReadAllText(Path.Combine(Repository.Root, "docs/fhir-mapping.md"));
        var item = Regex.Match(text, $@"^\* `{system}`[^:]*:(?<codes>.*?)(?=^\* |^#)", RegexOptions.Multiline | RegexOptions.Singleline).Groups["codes"].Value;
        return [.. Regex.Matches(item, "`([a-z0-9-]+)`").Select(m => m.Groups[1].Value)];
    }
}
