using System.Text;
using System.Text.Json.Nodes;
using Hl7.Fhir.Model;

namespace RehabRecords.Tests.ProfilesAndExamples;

/// <summary>
/// The rules that no file under examples/invalid/ breaks: each by a change to a valid example. A change is
/// "path := json" (nothing after := removes), several parted by " ; "; @code is the component with that code.
/// </summary>
public class RuleTests
{
    private const string Week = "Observation-adherence-week-1", Pegs = "Observation-pegs-result", Arat = "Observation-arat-right";
    private const string Grip = "Observation-grip-right", PegTest = "Observation-nine-hole-peg-right", Score = "valueQuantity/value := ";

    private const string Edited = "Composition-note-week-1-edited", Signature = "Provenance-note-week-1-signature";

    private const string Grasp = "Observation-arat-grasp-right", Tone = "Observation-ashworth-right", Walk = "Observation-ten-metre-walk";

    public static TheoryData<string, string, string> Rules => new()
    {
        { "rr-adherence-2", Week, "component/@ratio-lower := " },
        { "rr-adherence-4", Week, "effectivePeriod/end := " },
        { "rr-due", Week, "component/@due/valueInteger := -1" },
        { "rr-done", Week, "component/@done/valueInteger := -1" },
        { "rr-not-done", Week, "component/@not-done/valueInteger := -1" },
        { "rr-unknown", Week, "component/@unknown/valueInteger := -1" },
        { "rr-ratio-lower", Week, "component/@ratio-lower/valueQuantity/value := -0.1" },
        { "rr-ratio-upper", Week, "component/@ratio-upper/valueQuantity/value := 1.1" },
        { "rr-duration-min", "ActivityDefinition-table-slides", "extension/0/extension/0/valueDuration/value := 0" },
        { "rr-exercise-1", "ActivityDefinition-table-slides", "name := \"table slides\"" },
        { "rr-template-1", "PlanDefinition-table-top-hand-practice", "name := \"table top\"" },
        { "rr-template-2", "PlanDefinition-table-top-hand-practice", "action/0/action := " },
        { "rr-template-3", "PlanDefinition-table-top-hand-practice", "action/0/action/0/title := " },
        { "rr-template-5", "PlanDefinition-table-top-hand-practice", "action/0/action/0/action := " },
        { "rr-programme-2", "CarePlan-table-top-spring", "instantiatesCanonical/0 := \"https://rehabrecords.example/fhir/PlanDefinition/table-top-hand-practice\"" },
        { "rr-prescribed-1", "ServiceRequest-pegs", "instantiatesCanonical/0 := \"https://rehabrecords.example/fhir/ActivityDefinition/clothes-pegs\"" },
        { "rr-prescribed-2", "ServiceRequest-pegs", "code := {\"text\":\"pegs\"}" },
        { "rr-prescribed-4", "ServiceRequest-pegs", "occurrenceTiming/repeat/timeOfDay := [\"10:00:00\",\"16:00:00\"]" },
        { "rr-limb-2", "ServiceRequest-pegs", "bodySite/0/coding/0/code := \"left-upper-limb\"" },
        { "rr-limb-3", "ServiceRequest-pegs", "bodySite/0/coding/1/code := \"51440002\"" },
        { "rr-session-2", "Procedure-session-5-march", "statusReason := {\"coding\":[{\"system\":\"https://rehabrecords.example/fhir/CodeSystem/not-done-reason\",\"code\":\"pain\"}]}" },
        { "rr-sets", Pegs, "component/@sets-done/valueInteger := 101" },
        { "rr-minutes-code", Pegs, "component/@minutes-done/code/coding/1 := " },
        { "rr-pain-code", Pegs, "component/@pain-after/code/coding/1 := " },
        { "rr-exertion-10", Pegs, "component/@exertion-0-10/valueQuantity/value := 4.3" },
        { "rr-exertion-10-code", Pegs, "component/@exertion-0-10/code/coding/1 := " },
        { "rr-exertion-20-code", "Observation-pegs-result-other-scale", "component/@exertion-6-20/code/coding/1 := " },
        { "rr-fatigue", Pegs, "component/@fatigue-0-10/valueInteger := 11" },
        { "rr-result-4", Pegs, "code := {\"text\":\"pegs\"}" },
        { "rr-result-6", "Observation-slides-skipped", "dataAbsentReason/coding/1/code := \"rain\"" },
        { "rr-result-8", Pegs, "component/@fatigue-0-10/code/coding/0/code := \"sets-done\"" },
        { "rr-measure-5", Grip, "code/coding/1 := {\"system\":\"https://rehabrecords.example/fhir/CodeSystem/measure\",\"code\":\"arat\"}" },
        { "rr-measure-6", Grip, "code/coding/1/code := \"55411-3\"" },
        { "rr-pegs", PegTest, "component/@pegs-placed/valueInteger := 10" },
        { "rr-time-limit", PegTest, "component/@time-limit/valueQuantity/value := 0" },
        { "rr-unit-blocks", "Observation-box-and-block-right", "valueQuantity/code := \"{score}\"" },
        { "rr-unit-speed", "Observation-ten-metre-walk", "valueQuantity/code := \"s\"" },
        { "rr-unit-score", Arat, "valueQuantity/code := \"s\"" },
        { "rr-range-0", Arat, Score + "-1" },
        { "rr-range-time", "Observation-nine-hole-peg-left", Score + "0" },
        { "rr-range-10", "Observation-pain-rest", "valueInteger := 11" },
        { "rr-range-20", Arat, "code/coding/0/code := \"exertion-6-20\" ; " + Score + "5" },
        { "rr-range-100", Arat, "code/coding/0/code := \"barthel-100\" ; " + Score + "105" },
        { "rr-range-barthel-20", Arat, "code/coding/0/code := \"barthel-20\" ; " + Score + "21" },
        { "rr-range-berg", Arat, "code/coding/0/code := \"berg-balance\" ; " + Score + "57" },
        { "rr-range-5", Arat, "code/coding/0/code := \"wolf-functional-ability\" ; " + Score + "6" },
        { "rr-range-fugl-meyer", Arat, "code/coding/0/code := \"fugl-meyer-upper-extremity\" ; " + Score + "67" },
        { "rr-step-barthel", Arat, "code/coding/0/code := \"barthel-100\" ; " + Score + "42" },
        { "rr-range-arat-18", Arat, "code/coding/0/code := \"arat-grasp\" ; " + Score + "19" },
        { "rr-range-arat-12", Arat, "code/coding/0/code := \"arat-grip\" ; " + Score + "13" },
        { "rr-range-arat-9", Arat, "code/coding/0/code := \"arat-gross\" ; " + Score + "10" },
        { "rr-range-7", Arat, "code/coding/0/code := \"fatigue-severity-9\" ; " + Score + "0.5" },
        { "rr-range-blocks", "Observation-box-and-block-right", Score + "151" },
        { "rr-range-wolf", "Observation-nine-hole-peg-left", "code/coding := [{\"system\":\"https://rehabrecords.example/fhir/CodeSystem/measure\",\"code\":\"wolf-time\"}] ; " + Score + "121" },
        { "rr-range-speed", Walk, Score + "0" },
        { "rr-distance", Walk, "component/@timed-distance/valueQuantity/value := 0" },
        { "rr-time-taken", Walk, "component/@time-taken/valueQuantity/value := 0" },
        { "rr-items", Grasp, "component/@item-1/valueInteger := 4" },
        { "rr-items", Grasp, "code/coding/0/code := \"grip-strength\"" },
        { "rr-measure-7", Grasp, "bodySite := " },
        { "rr-measure-8", Tone, "component := " },
        { "rr-grade-1", Tone, "valueCodeableConcept :=  ; valueInteger := 2" },
        { "rr-grade-2", Tone, "code/coding/0/code := \"mrc-power\"" },
        { "rr-note-subjective", "Composition-note-week-1", "section/0/code/coding/0/code := \"61149-1\"" },
        { "rr-note-objective", "Composition-note-week-1", "section/1/code/coding/0/code := \"61150-9\"" },
        { "rr-document-2", "Bundle-note-week-1-document", "entry/14 := {\"fullUrl\":\"https://rehabrecords.example/fhir/Composition/other\",\"resource\":{\"resourceType\":\"Composition\",\"id\":\"other\",\"status\":\"final\",\"type\":{\"text\":\"x\"},\"date\":\"2026-03-08\",\"author\":[{\"display\":\"x\"}],\"title\":\"x\"}}" },
        { "rr-document-3", "Bundle-note-week-1-document", "entry/14 := {\"fullUrl\":\"https://rehabrecords.example/fhir/Patient/other\",\"resource\":{\"resourceType\":\"Patient\",\"id\":\"other\",\"active\":true}}" },
        { "rr-note-6", Edited, "section/0/section/0/author := " },
        { "rr-note-7", Edited, "section/1/section/0/extension/2 := " },
        { "rr-note-8", Edited, "section/1/section/1/extension/3 := " },
        { "rr-note-9", Edited, "section/0/section/0/extension/0/valueCode := \"own\"" },
        { "rr-sha-1", Signature, "extension/0/valueString := \"9F86\"" },
        { "rr-signature-1", Signature, "target/0/reference := \"Composition/note-week-1\"" },
        { "rr-signature-2", Signature, "target/1/reference := \"Bundle/note-week-1-document/_history/1\"" },
        { "rr-signature-3", Signature, "agent/0/type/coding/0/code := \"author\"" },
        { "rr-note-assessment", "Composition-note-week-1", "section/2 := " },
    };

    [Theory]
    [MemberData(nameof(Rules))]
    public void A_change_that_breaks_a_rule_is_refused_by_that_rule(string key, string example, string changes)
    {
        var json = ProfileFiles.ExampleJson(example);
        foreach (var change in changes.Split(" ; "))
            Apply(json, change);
        var errors = ProfileFiles.Errors(ProfileFiles.Read(Encoding.UTF8.GetBytes(json.ToJsonString())));
        Assert.Contains(errors, e => e.Message.Contains($"constraint {key} ", StringComparison.Ordinal));
    }

    [Fact]
    public void Every_rule_of_ours_is_broken_by_an_example_or_a_change()
    {
        var broken = ProfileFiles.Expected.Values.Select(e => e.MessageContains)
            .Concat(Rules.Select(row => (string)((object[])row)[0])).ToHashSet();
        var keys = ProfileFiles.All<StructureDefinition>().SelectMany(ProfileFiles.ElementsOf).SelectMany(e => e.Constraint).Select(c => c.Key!).ToHashSet();
        Assert.Subset(broken, keys);
    }

    private static void Apply(JsonNode json, string change)
    {
        var parts = change.Split(" := ");
        var path = parts[0].Trim().Split('/');
        var parent = path[..^1].Aggregate(json, (node, step) => step switch
        {
            ['@', .. var code] => node.AsArray().Single(c => (string?)c!["code"]!["coding"]![0]!["code"] == code)!,
            _ when node is JsonArray items => items[int.Parse(step)]!,
            _ => node[step]!,
        });
        var value = parts[1].Trim() is { Length: > 0 } text ? JsonNode.Parse(text) : null;
        switch (parent)
        {
            case JsonArray items:
                var at = path[^1][0] == '@'
                    ? items.IndexOf(items.Single(c => (string?)c!["code"]!["coding"]![0]!["code"] == path[^1][1..]))
                    : int.Parse(path[^1]);
                if (value is null)
                    items.RemoveAt(at);
                else
                    items[at] = value;
                break;
            case JsonObject members when value is null:
                Assert.True(members.Remove(path[^1]), $"There is no {change} to remove.");
                break;
            default:
                parent[path[^1]] = value;
                break;
        }
    }
}
