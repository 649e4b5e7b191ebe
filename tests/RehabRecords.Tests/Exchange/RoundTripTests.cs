using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Store;
using RehabRecords.Tests.Trade;
using Xunit.Abstractions;

namespace RehabRecords.Tests.Exchange;

/// <summary>There and back again between two running services, over HTTP.</summary>
public class RoundTripTests(Teams teams, ITestOutputHelper output) : IClassFixture<Teams>
{
    [Fact]
    public async System.Threading.Tasks.Task Nothing_is_lost_and_nothing_doubled_on_the_way_there_and_back()
    {
        var (person, programme) = await teams.PrescribedAsync(("goals", """[{ "description": "Button a cardigan alone", "levels": { "-2": "No button", "-1": "One button", "0": "Three buttons", "+1": "All, slowly", "+2": "All, quickly" }, "due": "2026-07-10" }]"""));
        await teams.Here.PostAsync("/api/sessions", TradeApp.Session((person, programme)));
        await teams.Here.PostAsync("/api/sessions", TradeApp.Session((person, programme), ("doneAt", "\"2026-06-11T10:00:00+01:00\""), ("exercises[0].painDuring", "8")));
        await teams.Here.PostAsync($"/api/programmes/{programme}/briefing", JsonNode.Parse($$"""{ "points": ["Sit on the affected side."], "by": {{Teams.By}} }""")!);
        await teams.Here.PostAsync($"/api/programmes/{programme}/briefing/acknowledgement", JsonNode.Parse("""{ "understood": true, "shownBack": "Showed it." }""")!);
        await teams.Here.PostAsync($"/api/programmes/{programme}/decisions", JsonNode.Parse($$"""{ "exercise": "key-turning", "decision": "hold", "by": {{Teams.By}}, "reason": "Wait for the visit." }""")!);
        var sent = await Teams.HandOverAsync(teams.Here, programme, Teams.Community);

        var first = await Teams.TakeInAsync(teams.There, sent);
        Assert.Equal("taken-in", (string?)first["outcome"]);
        Assert.Empty(first["conflicts"]!.AsArray());
        var before = teams.There.State();
        var second = await Teams.TakeInAsync(teams.There, sent);
        Assert.Equal("unchanged", (string?)second["outcome"]);
        Assert.Equal(before, teams.There.State());

        // The trade's own routes there see the programme as ours do.
        var there = (string)first["programmes"]![0]!;
        Assert.Equal(there, $"CarePlan/{programme}");
        var programmeThere = await teams.There.GetAsync($"/api/programmes/{programme}");
        Assert.Equal((await teams.Here.GetAsync($"/api/programmes/{programme}"))["exercises"]!.ToJsonString(), programmeThere["exercises"]!.ToJsonString());
        var personThere = ((string)first["person"]!)["Patient/".Length..];

        // Practised there: a session, a missed one, a measure, a decision, a revision.
        teams.TimeThere.Now = DateTimeOffset.Parse("2026-06-18T12:00:00Z");
        await teams.There.PostAsync("/api/sessions", TradeApp.Session((personThere, programme), ("doneAt", "\"2026-06-16T10:00:00+01:00\"")));
        await teams.There.PostAsync("/api/sessions", TradeApp.Session((personThere, programme), ("doneAt", null), ("exercises", null), ("remark", null), ("missed", """{ "plannedFor": "2026-06-17", "reason": "fatigue" }""")));
        await teams.There.PostAsync("/api/measures", JsonNode.Parse($$"""{ "person": "{{personThere}}", "measure": "box-and-block", "side": "right", "value": 31, "unit": "{blocks}/min", "measuredAt": "2026-06-17T10:00:00+01:00", "assessor": {{Teams.By}} }""")!);
        await teams.There.PostAsync($"/api/programmes/{programme}/revisions", JsonNode.Parse($$"""{ "by": {{Teams.By}}, "reason": "Goes well.", "change": [{ "exercise": "coin-stacking", "dosage": { "sets": 4 } }] }""")!);
        await teams.There.PostAsync($"/api/programmes/{programme}/decisions", JsonNode.Parse($$"""{ "exercise": "key-turning", "decision": "hold", "by": {{Teams.By}}, "reason": "As before." }""")!);
        await Teams.ConsentAsync(teams.There, personThere, Teams.Hospital);

        teams.Here.Time.Now = DateTimeOffset.Parse("2026-06-19T12:00:00Z");
        var back = await Teams.HandOverAsync(teams.There, programme, Teams.Hospital);
        Assert.Empty(TestApp.SharedValidator.Validate(back).Where(i => i.Refuses).Select(i => $"{i.Expression}: {i.Message}"));
        var taken = await Teams.TakeInAsync(teams.Here, back);
        Assert.True((string?)taken["outcome"] == "taken-in", taken.ToJsonString());
        // What was made here and not touched there is as it was: only the programme and the prescription that ended moved on.
        Assert.Equal(["CarePlan", "ServiceRequest"], taken["updated"]!.AsArray().Select(u => ((string)u!["resource"]!).Split('/')[0]).Order());
        var after = teams.Here.State();
        Assert.Equal("unchanged", (string?)(await Teams.TakeInAsync(teams.Here, back))["outcome"]);
        Assert.Equal(after, teams.Here.State());

        // What is here now, sent once more, is exactly what came: deep equality apart from what each server sets.
        var again = await Teams.HandOverAsync(teams.Here, programme, Teams.Community);
        var table = RoundTrip.Of(back, again, Teams.CommunityBase, Teams.HospitalBase);
        output.WriteLine(table.ToString());
        Assert.Empty(table.Lost);
        Assert.Empty(table.Different);
        // Nothing twice: as many of each as were made at either place.
        var once = RoundTrip.Of(sent, again, Teams.HospitalBase, Teams.HospitalBase);
        Assert.Empty(once.Lost);
        Assert.Equal(4, again.Entry.Count(e => e.Resource is Procedure));
        Assert.Equal(3, again.Entry.Count(e => e.Resource is ServiceRequest));
        Assert.Equal(2, again.Entry.Select(e => e.Resource).OfType<Observation>().Count(o => o.Code.Coding.Exists(c => c.Code == "box-and-block")));
        Assert.Single(await teams.Here.Store.FindAllAsync<Patient>($"_id={person}"));
        // And there it changes nothing but what the people here did since.
        var home = await Teams.TakeInAsync(teams.There, again);
        Assert.Empty(home["conflicts"]!.AsArray());
        Assert.Empty(home["updated"]!.AsArray());
    }

    [Fact]
    public async System.Threading.Tasks.Task Everything_taken_in_says_where_it_came_from()
    {
        var (_, programme) = await teams.PrescribedAsync();
        var sent = await Teams.HandOverAsync(teams.Here, programme, Teams.Community);
        var answer = await Teams.TakeInAsync(teams.There, sent);
        var provenance = ResourceReader.Trusted<Provenance>((await teams.There.Store.ReadAsync("Provenance", ((string)answer["provenance"]!).Split('/')[1]))!.Json);
        Assert.Equal(
            answer["created"]!.AsArray().Concat(answer["updated"]!.AsArray()).Select(c => (string)c!["resource"]!).Order(),
            provenance.Target.Select(t => t.Reference![..t.Reference!.IndexOf("/_history", StringComparison.Ordinal)]).Order());
        Assert.Equal(sent.Identifier!.Value, provenance.Entity.Single().What.Identifier!.Value);
        var original = ResourceReader.Trusted<Binary>((await teams.There.Store.ReadAsync("Binary", ((string)answer["original"]!).Split('/')[1]))!.Json);
        Assert.True(ResourceReader.Read(original.Data, FhirFormat.Json).IsExactly(sent));
        var plan = (await teams.There.Store.GetAsync<CarePlan>(programme))!.Value.Resource;
        Assert.Equal($"{Teams.HospitalBase}/CarePlan/{programme}/_history/1", plan.Meta!.Source);
        Assert.Contains(plan.Identifier, i => i.Value == $"{Teams.HospitalBase}/CarePlan/{programme}");
    }
}
