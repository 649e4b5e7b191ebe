using System.Text.Json.Nodes;
using RehabRecords.Terms;

namespace RehabRecords.Tests;

/// <summary>The lists in code and the code systems under profiles/ must say the same.</summary>
public class CodeListTests
{
    public static TheoryData<string> Lists() => [.. All.Keys];

    private static readonly Dictionary<string, CodeList> All = new()
    {
        ["help-level"] = CodeLists.HelpLevel,
        ["quality"] = CodeLists.Quality,
        ["not-done-reason"] = CodeLists.NotDoneReason,
        ["limb"] = CodeLists.Limb,
        ["position"] = CodeLists.Position,
        ["hand-order"] = CodeLists.HandOrder,
        ["grading-dimension"] = CodeLists.GradingDimension,
        ["capacity-band"] = CodeLists.CapacityBand,
        ["caution"] = CodeLists.Caution,
        ["precaution"] = CodeLists.Precaution,
        ["reporting-item"] = CodeLists.ReportingItem,
        ["red-flag"] = CodeLists.RedFlag,
        ["adverse-event-kind"] = CodeLists.AdverseEventKind,
        ["measure-status"] = CodeLists.MeasureStatus,
        ["exercise-role"] = CodeLists.ExerciseRole,
    };

    [Theory]
    [MemberData(nameof(Lists))]
    public void A_list_has_the_codes_of_its_code_system(string id)
    {
        var system = JsonNode.Parse(File.ReadAllText(Path.Combine(Repository.Root, "profiles", $"CodeSystem-{id}.json")))!;
        Assert.Equal((string?)system["url"], All[id].System);
        Assert.Equal(system["concept"]!.AsArray().Select(c => (string)c!["code"]!).Order(), All[id].Codes.Order());
    }

    [Fact]
    public void Help_is_listed_in_rising_order() =>
        Assert.Equal(["independent", "set-up", "verbal-prompt", "hands-on"], CodeLists.HelpLevel.Codes);

    [Theory]
    [InlineData(Sides.Left)]
    [InlineData(Sides.Right)]
    [InlineData(Sides.Both)]
    public void A_side_is_read_back_as_it_was_written(string side) => Assert.Equal(side, Sides.Of(Sides.BodySite(side)));

    [Fact]
    public void A_body_site_that_tells_no_side_tells_none() => Assert.Null(Sides.Of(new Hl7.Fhir.Model.CodeableConcept("http://x.example", "y")));
}
