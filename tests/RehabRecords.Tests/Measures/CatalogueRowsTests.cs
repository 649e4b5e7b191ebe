using System.Net;
using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using RehabRecords.Clinical;
using RehabRecords.Fhir.Store;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.Measures;

/// <summary>Every measure of the catalogue, over HTTP: a result that is taken as it is given, and one just outside its range.</summary>
public class CatalogueRowsTests(TradeApp app) : IClassFixture<TradeApp>
{
    /// <summary>Measure, valid result, result outside the range (or grade outside the scale), what is allowed.</summary>
    public static TheoryData<string, string, string, string, string> Rows => new()
    {
        { "nine-hole-peg", "s", "46.7", "0", "above 0" },
        { "box-and-block", "{blocks}/min", "150", "151", "at most 150" },
        { "grip-strength", "kgf", "0", "120.1", "at most 120" },
        { "tip-pinch", "kgf", "4.5", "30.5", "at most 30" },
        { "lateral-pinch", "kgf", "30", "-0.5", "0 or more" },
        { "palmar-pinch", "kgf", "5.5", "31", "at most 30" },
        { "arat", "{score}", "57", "58", "at most 57" },
        { "arat-grasp", "{score}", "18", "19", "at most 18" },
        { "arat-grip", "{score}", "12", "13", "at most 12" },
        { "arat-pinch", "{score}", "18", "19", "at most 18" },
        { "arat-gross", "{score}", "9", "10", "at most 9" },
        { "fugl-meyer-upper-extremity", "{score}", "66", "67", "at most 66" },
        { "wolf-time", "s", "120", "120.5", "at most 120" },
        { "wolf-functional-ability", "{score}", "5", "5.1", "at most 5" },
        { "motor-activity-amount", "{score}", "2.5", "5.5", "at most 5" },
        { "motor-activity-quality", "{score}", "0", "-0.5", "0 or more" },
        { "modified-ashworth", "", "1+", "5", "one of 0, 1, 1+, 2, 3, 4" },
        { "mrc-power", "", "4-", "1+", "one of 0, 1, 2, 3, 4-, 4, 4+, 5" },
        { "barthel-100", "{score}", "100", "105", "at most 100" },
        { "barthel-20", "{score}", "20", "45", "at most 20" },
        { "modified-rankin", "", "6", "7", "one of 0, 1, 2, 3, 4, 5, 6" },
        { "stroke-impact-hand", "{score}", "100", "101", "at most 100" },
        { "ten-metre-walk", "m/s", "0.83", "0", "above 0" },
        { "timed-up-and-go", "s", "18.2", "0", "above 0" },
        { "berg-balance", "{score}", "56", "57", "at most 56" },
        { "pain-rest", "{score}", "0", "11", "at most 10" },
        { "pain-movement", "{score}", "10", "11", "at most 10" },
        { "pain-night", "{score}", "3", "-1", "0 or more" },
        { "pain-task", "{score}", "4", "4.5", "steps of 1" },
        { "exertion-6-20", "{score}", "6", "5", "6 or more" },
        { "exertion-0-10", "{score}", "3.5", "13", "at most 10" },
        { "fatigue-0-10", "{score}", "10", "11", "at most 10" },
        { "fatigue-severity-9", "{score}", "4.1", "0.9", "1 or more" },
        { "fatigue-severity-7", "{score}", "7", "7.1", "at most 7" },
        { "gas-level", "{score}", "-2", "-3", "-2 or more" },
        { "gas-t-score", "{score}", "36.3", "101", "at most 100" },
    };

    [Fact]
    public void Every_measure_of_the_catalogue_has_a_row() =>
        Assert.Equal(MeasureCatalogue.Default.All.Select(m => m.Id).Order(), Rows.Select(row => (string)((object[])row)[0]).Order());

    [Theory, MemberData(nameof(Rows))]
    public async Task A_result_in_range_is_stored_as_given_and_one_out_of_range_is_refused(string id, string unit, string valid, string outside, string allowed)
    {
        var measure = MeasureCatalogue.Default.Get(id);
        var graded = measure.Scale == ScaleKind.Grades;
        var body = await BodyAsync(measure, unit);
        var field = graded ? "grade" : "value";
        JsonNode Value(string text) => graded ? text : JsonNode.Parse(text)!;

        body[field] = Value(outside);
        await app.RefusedAsync("/api/measures", body.ToJsonString(), HttpStatusCode.UnprocessableEntity, field, outside, allowed);

        body[field] = Value(valid);
        var posted = await app.PostAsync("/api/measures", body.DeepClone());
        Assert.Equal(Value(valid).ToJsonString(), posted[field]!.ToJsonString());
        Assert.Equal((string?)body["side"], (string?)posted["side"]);
        var (observation, _) = (await app.Store.GetAsync<Observation>((string)posted["id"]!))!.Value;
        Assert.DoesNotContain(TestApp.SharedValidator.Validate(observation), i => i.Refuses);
        Assert.Equal(posted.ToJsonString(), (await app.GetAsync($"/api/measures/{observation.Id}")).ToJsonString());
        if (graded)
            Assert.Equal($"https://rehabrecords.example/fhir/CodeSystem/{id}-grade|{valid}", ((CodeableConcept)observation.Value!).Coding.Select(c => $"{c.System}|{c.Code}").Single());
    }

    /// <summary>The FHIR face keeps the same ranges: a stored result that is moved out of range is refused there too.</summary>
    [Theory, MemberData(nameof(Rows))]
    public async Task The_profile_refuses_what_the_catalogue_refuses(string id, string unit, string valid, string outside, string _)
    {
        // Forces have a range for each unit, and a step is not a range; the profile leaves both to the catalogue.
        var measure = MeasureCatalogue.Default.Get(id);
        if (measure.OtherUnits.Count > 0 || id == "pain-task")
            return;
        var graded = measure.Scale == ScaleKind.Grades;
        var body = await BodyAsync(measure, unit);
        body[graded ? "grade" : "value"] = graded ? valid : JsonNode.Parse(valid);
        var posted = await app.PostAsync("/api/measures", body);
        var (observation, _) = (await app.Store.GetAsync<Observation>((string)posted["id"]!))!.Value;
        switch (observation.Value)
        {
            case Quantity quantity:
                quantity.Value = decimal.Parse(outside, System.Globalization.CultureInfo.InvariantCulture);
                break;
            case Integer:
                observation.Value = new Integer(int.Parse(outside, System.Globalization.CultureInfo.InvariantCulture));
                break;
            case CodeableConcept grade:
                grade.Coding[0].Code = outside;
                break;
        }

        Assert.Contains(TestApp.SharedValidator.Validate(observation), i => i.Refuses);
    }

    private async Task<JsonObject> BodyAsync(MeasureDefinition measure, string unit)
    {
        var person = await app.PersonAsync();
        var body = new JsonObject { ["person"] = person, ["measure"] = measure.Id, ["measuredAt"] = "2026-06-12T11:00:00+01:00" };
        if (unit.Length > 0)
            body["unit"] = unit;
        if (measure.Laterality == Laterality.PerSide)
            body["side"] = "right";
        if (measure.NeedsSite)
            body["site"] = measure.Id == "mrc-power" ? "wrist-extension" : "elbow-flexors";
        if (measure.Id == "gas-level")
            body["goal"] = await GoalAsync(person);
        return body;
    }

    private async Task<string> GoalAsync(string person) => (string)(await app.PostAsync("/api/programmes", TradeApp.With(TradeApp.Programme(person).ToJsonString(), ("goals",
        """[{ "description": "x", "due": "2026-07-01", "levels": { "-2": "a", "-1": "b", "0": "c", "+1": "d", "+2": "e" } }]"""))))["goals"]![0]!["id"]!;
}
