using System.Text.Json.Nodes;
using CsCheck;
using Hl7.Fhir.Model;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.Exchange;

/// <summary>Whatever programme is prescribed, it arrives as it is, and comes back as it went.</summary>
public class ProgrammeLawTests(Teams teams) : IClassFixture<Teams>
{
    private static readonly string[] Exercises = ["coin-stacking", "key-turning", "towel-wiping"];

    private static readonly string[] Sides = ["left", "right", "both"];

    private static readonly Gen<JsonObject> Programmes =
        from chosen in Gen.Shuffle(Exercises)
        from howMany in Gen.Int[1, 3]
        from sides in Gen.Int[0, 2].Select(i => Sides[i]).Array[3]
        from sets in Gen.Int[1, 6].Array[3]
        from repetitions in Gen.Int[1, 40].Array[3]
        from often in Gen.Int[1, 4].Array[3]
        from words in Gen.Char["abc äöü'\"&<>;:/\\|\n%ñ中"].Array[1, 40].Array[3]
        from pain in Gen.Int[0, 10]
        from end in Gen.Int[1, 90]
        from draft in Gen.Bool
        from briefing in Gen.Bool
        from goals in Gen.Int[0, 2]
        select TradeApp.With(
            TradeApp.Programme("").ToJsonString(),
            ("exercises", new JsonArray([.. chosen.Take(howMany).Select((exercise, i) => new JsonObject
            {
                ["exercise"] = $"{exercise}|1.0.0",
                ["side"] = sides[i],
                ["dosage"] = new JsonObject { ["sets"] = sets[i], ["repetitions"] = repetitions[i] },
                ["schedule"] = new JsonObject { ["timesPerDay"] = often[i] },
                ["instruction"] = "Say: " + new string(words[i]).Replace('<', '(').Replace('>', ')') + ".",
            })]).ToJsonString()),
            ("painLimit", $"{pain}"), ("end", $"\"{new DateOnly(2026, 6, 1).AddDays(end):yyyy-MM-dd}\""), ("status", draft ? "\"draft\"" : "\"active\""), ("briefingRequired", briefing ? "true" : "false"),
            ("goals", new JsonArray([.. Enumerable.Range(0, goals).Select(g => JsonNode.Parse(
                $$"""{ "description": "Goal {{g}}", "levels": { "-2": "a", "-1": "b", "0": "c", "+1": "d", "+2": "e" }, "due": "2026-07-10" }"""))]).ToJsonString()));

    [Fact]
    public async System.Threading.Tasks.Task Any_programme_survives_the_way_there_and_back() => await Programmes.SampleAsync(async programme =>
    {
        var changes = programme.Where(p => p.Key is not ("person" or "author")).Select(p => (p.Key, (string?)p.Value!.ToJsonString())).ToArray();
        var (_, id) = await teams.PrescribedAsync(changes);
        var sent = await Teams.HandOverAsync(teams.Here, id, Teams.Community);
        Assert.Empty(TestApp.SharedValidator.Validate(sent).Where(i => i.Refuses).Select(i => $"{i.Expression}: {i.Message}"));
        var first = await Teams.TakeInAsync(teams.There, sent);
        Assert.Empty(first["conflicts"]!.AsArray());
        Assert.Equal("unchanged", (string?)(await Teams.TakeInAsync(teams.There, sent))["outcome"]);
        await Teams.ConsentAsync(teams.There, ((string)first["person"]!)["Patient/".Length..], Teams.Hospital);
        var back = await Teams.HandOverAsync(teams.There, id, Teams.Hospital);
        var trip = RoundTrip.Of(sent, back, Teams.HospitalBase, Teams.CommunityBase);
        Assert.Empty(trip.Lost);
        Assert.Empty(trip.Different);
        var here = teams.Here.State();
        var taken = await Teams.TakeInAsync(teams.Here, back);
        // Only what is theirs alone is new here: their own organisation and consent.
        Assert.Empty(taken["updated"]!.AsArray());
        Assert.All(taken["created"]!.AsArray(), c => Assert.Contains(((string)c!["resource"]!).Split('/')[0], new[] { "Organization", "Consent", "Practitioner" }));
    }, iter: 8, threads: 1);
}
