using System.Net;
using System.Text.Json.Nodes;
using RehabRecords.Clinical;
using RehabRecords.Fhir.Store;
using RehabRecords.Progress;
using RehabRecords.Tests.Trade;
using FhirTask = Hl7.Fhir.Model.Task;

namespace RehabRecords.Tests.Exchange;

/// <summary>The same programme is changed at both places: nobody's work is written over, and a clinician chooses.</summary>
public class ConflictTests(Teams teams) : IClassFixture<Teams>
{
    [Theory]
    [InlineData("ours", 3, "Ours stays: their new prescription was practised, so it is kept as one that has ended")]
    [InlineData("theirs", 4, "Theirs is taken in: their new prescription holds")]
    public async System.Threading.Tasks.Task A_programme_changed_on_both_sides_waits_for_a_clinicians_choice(string choice, int setsNow, string why)
    {
        var (person, programme) = await teams.PrescribedAsync();
        var there = await TakenInAsync(programme);
        teams.TimeThere.Now = teams.Here.Time.Now = DateTimeOffset.Parse("2026-06-18T12:00:00Z");
        await teams.There.PostAsync($"/api/programmes/{programme}/revisions", Revision("coin-stacking", 4));
        teams.TimeThere.Now = DateTimeOffset.Parse("2026-06-20T12:00:00Z");
        await teams.There.PostAsync("/api/sessions", TradeApp.Session((there, programme), ("doneAt", "\"2026-06-19T10:00:00+01:00\"")));
        await teams.Here.PostAsync($"/api/programmes/{programme}/revisions", Revision("key-turning", 3));
        var ours = await teams.Here.GetAsync($"/api/programmes/{programme}");
        await Teams.ConsentAsync(teams.There, there, Teams.Hospital);
        var back = await Teams.HandOverAsync(teams.There, programme, Teams.Hospital);

        var answer = await Teams.TakeInAsync(teams.Here, back);
        Assert.Equal("conflict", (string?)answer["outcome"]);
        Assert.Contains(answer["conflicts"]!.AsArray(), c => (string?)c!["resource"] == $"CarePlan/{programme}" && c["differs"]!.AsArray().Any(d => (string?)d == "activity"));
        Assert.Contains(answer["waiting"]!.AsArray(), w => ((string)w!["resource"]!).StartsWith("Observation/", StringComparison.Ordinal));
        Assert.Equal(ours.ToJsonString(), (await teams.Here.GetAsync($"/api/programmes/{programme}")).ToJsonString());
        var task = ((string)answer["task"]!)["Task/".Length..];
        var before = teams.Here.State();
        Assert.Equal($"Task/{task}", (string?)(await Teams.TakeInAsync(teams.Here, back))["task"]);
        Assert.Equal(before, teams.Here.State());
        var open = await teams.Here.GetAsync($"/api/exchange/conflicts?person={person}");
        Assert.Equal((task, "requested"), ((string)open[0]!["id"]!, (string)open[0]!["status"]!));

        var resolved = await teams.Here.PostAsync($"/api/exchange/conflicts/{task}/resolution", Choice(choice));
        Assert.NotEqual("conflict", (string?)resolved["outcome"]);
        var now = await teams.Here.GetAsync($"/api/programmes/{programme}");
        var coins = now["exercises"]!.AsArray().Single(e => ((string)e!["exercise"]!).StartsWith("coin-stacking", StringComparison.Ordinal))!;
        Assert.True((int)coins["dosage"]!["sets"]! == setsNow, why);
        var keys = now["exercises"]!.AsArray().Single(e => ((string)e!["exercise"]!).StartsWith("key-turning", StringComparison.Ordinal))!;
        Assert.Equal(choice == "ours" ? 3 : 2, (int)keys["dosage"]!["sets"]!);
        // What was practised there is in our record with either choice.
        Assert.Single((await teams.Here.GetAsync($"/api/sessions?programme={programme}")).AsArray());
        Assert.Equal("completed", (string?)(await teams.Here.GetAsync($"/api/exchange/conflicts/{task}"))["status"]);
        await EachDayIsAskedForOnceAsync(programme, choice);
        // Nothing is gone: our version is in the history with either choice.
        Assert.Contains(await teams.Here.Store.HistoryAsync("CarePlan", programme), v => v.Version == 2);
        // And it is not asked again.
        Assert.NotEqual("conflict", (string?)(await Teams.TakeInAsync(teams.Here, back))["outcome"]);
        using var twice = await teams.Here.Http.PostAsync($"/api/exchange/conflicts/{task}/resolution", TestApp.Json(Choice(choice)));
        Assert.Equal(HttpStatusCode.Conflict, twice.StatusCode);
    }

    [Fact]
    public async System.Threading.Tasks.Task What_only_they_changed_is_taken_over_and_what_only_we_changed_stays()
    {
        var (_, programme) = await teams.PrescribedAsync();
        var there = await TakenInAsync(programme);
        await teams.Here.PostAsync($"/api/programmes/{programme}/pauses", JsonNode.Parse($$"""{ "from": "2026-07-01", "to": "2026-07-02", "reason": "Visitors.", "by": {{Teams.By}} }""")!);
        await Teams.ConsentAsync(teams.There, there, Teams.Hospital);
        // They send it back as it came: ours is newer and stays.
        var same = await Teams.TakeInAsync(teams.Here, await Teams.HandOverAsync(teams.There, programme, Teams.Hospital));
        Assert.Equal("Ours is newer.", (string?)same["unchanged"]!.AsArray().Single(u => (string?)u!["resource"] == $"CarePlan/{programme}")!["why"]);
        // They get ours, change it, and send it back: theirs is newer and is taken over.
        await Teams.TakeInAsync(teams.There, await Teams.HandOverAsync(teams.Here, programme, Teams.Community));
        await teams.There.PostAsync($"/api/programmes/{programme}/pauses", JsonNode.Parse($$"""{ "from": "2026-07-05", "to": "2026-07-06", "reason": "Away.", "by": {{Teams.By}} }""")!);
        var newer = await Teams.TakeInAsync(teams.Here, await Teams.HandOverAsync(teams.There, programme, Teams.Hospital));
        Assert.Equal("taken-in", (string?)newer["outcome"]);
        Assert.Equal(2, (await teams.Here.GetAsync($"/api/programmes/{programme}"))["pauses"]!.AsArray().Count);
    }

    [Fact]
    public async System.Threading.Tasks.Task Of_two_revisions_at_one_moment_with_the_same_number_neither_is_lost()
    {
        var (_, programme) = await teams.PrescribedAsync();
        var there = await TakenInAsync(programme);
        foreach (var place in new[] { teams.Here, teams.There })
            await place.PostAsync($"/api/programmes/{programme}/decisions", JsonNode.Parse($$"""{ "exercise": "key-turning", "decision": "hold", "by": {{Teams.By}}, "reason": "Decided at {{(place == teams.Here ? "the hospital" : "home")}}." }""")!);
        await Teams.ConsentAsync(teams.There, there, Teams.Hospital);
        var answer = await Teams.TakeInAsync(teams.Here, await Teams.HandOverAsync(teams.There, programme, Teams.Hospital));
        var conflict = answer["conflicts"]!.AsArray().Single(c => ((string)c!["resource"]!).StartsWith("Task/", StringComparison.Ordinal))!;
        Assert.Contains("reasonCode", conflict["differs"]!.AsArray().Select(d => (string)d!));
        var kept = (await teams.Here.Store.GetAsync<FhirTask>(((string)conflict["resource"]!)["Task/".Length..]))!.Value.Resource;
        Assert.Equal("Decided at the hospital.", kept.ReasonCode!.Text);
    }

    /// <summary>Both prescribed for the same days; the one day practised at theirs must neither be asked for twice nor end what was chosen.</summary>
    private async System.Threading.Tasks.Task EachDayIsAskedForOnceAsync(string programme, string choice)
    {
        var record = await new ProgressReader(teams.Here.Store).ReadAsync(programme);
        foreach (var exercise in record.Plan.GroupBy(p => p.Exercise))
        {
            var planned = Assert.Single(exercise.Select(p => p.Id).Distinct());
            var found = Adherence.OfExercise(planned, record.Plan, record.Reports, new(2026, 6, 16), new(2026, 6, 25));
            Assert.True(found.Due == 10, $"{choice}, {exercise.Key}: {found.Text}");
            Assert.Equal(exercise.Key == "coin-stacking" ? 1 : 0, found.Done);
        }

        var whole = Adherence.OfProgramme(record.Plan, record.Reports, new(2026, 6, 16), new(2026, 6, 25));
        Assert.Equal((10, 1), (whole.Due, whole.Done));
        // And what was chosen can be changed further.
        await teams.Here.PostAsync($"/api/programmes/{programme}/revisions", Revision("coin-stacking", 5));
        await teams.Here.PostAsync($"/api/programmes/{programme}/revisions", JsonNode.Parse($$"""{ "by": {{Teams.By}}, "reason": "Weekdays.", "from": "2026-06-22", "schedule": { "timesPerDay": 2 } }""")!);
        var after = await new ProgressReader(teams.Here.Store).ReadAsync(programme);
        Assert.All(after.Plan.Select(p => p.Id).Distinct(), planned =>
            Assert.Equal(8, Adherence.OfExercise(planned, after.Plan, after.Reports, new(2026, 6, 22), new(2026, 6, 25)).Due));
    }

    [Fact]
    public async System.Threading.Tasks.Task An_exercise_that_both_added_is_one_exercise_once_ours_was_chosen()
    {
        var (_, programme) = await teams.PrescribedAsync();
        var there = await TakenInAsync(programme);
        teams.TimeThere.Now = teams.Here.Time.Now = DateTimeOffset.Parse("2026-06-18T12:00:00Z");
        foreach (var (place, minutes) in new[] { ((TestApp)teams.Here, 5), (teams.There, 8) })
            await place.PostAsync($"/api/programmes/{programme}/revisions", JsonNode.Parse($$"""{ "by": {{Teams.By}}, "reason": "To warm up.", "add": [{ "exercise": "towel-wiping|1.0.0", "side": "right", "schedule": { "timesPerDay": 1 }, "dosage": { "minutes": {{minutes}} } }] }""")!);
        teams.TimeThere.Now = DateTimeOffset.Parse("2026-06-20T12:00:00Z");
        await teams.There.PostAsync("/api/sessions", TradeApp.Session((there, programme), ("doneAt", "\"2026-06-19T10:00:00+01:00\""), ("exercises", """[{ "exercise": "towel-wiping", "minutes": 8 }]""")));
        await Teams.ConsentAsync(teams.There, there, Teams.Hospital);
        var answer = await Teams.TakeInAsync(teams.Here, await Teams.HandOverAsync(teams.There, programme, Teams.Hospital));
        await teams.Here.PostAsync($"/api/exchange/conflicts/{((string)answer["task"]!)["Task/".Length..]}/resolution", Choice("ours"));

        var record = await new ProgressReader(teams.Here.Store).ReadAsync(programme);
        var towel = Assert.Single(record.Plan.Where(p => p.Exercise == "towel-wiping").Select(p => p.Id).Distinct());
        var found = Adherence.OfExercise(towel, record.Plan, record.Reports, new(2026, 6, 18), new(2026, 6, 21));
        Assert.Equal((4, 1), (found.Due, found.Done));
    }

    private async Task<string> TakenInAsync(string programme) =>
        ((string)(await Teams.TakeInAsync(teams.There, await Teams.HandOverAsync(teams.Here, programme, Teams.Community)))["person"]!)["Patient/".Length..];

    private static JsonNode Revision(string exercise, int sets) =>
        JsonNode.Parse($$"""{ "by": {{Teams.By}}, "reason": "Goes well.", "change": [{ "exercise": "{{exercise}}", "dosage": { "sets": {{sets}} } }] }""")!;

    private static JsonNode Choice(string choice) => JsonNode.Parse($$"""{ "choice": "{{choice}}", "by": {{Teams.By}}, "reason": "Agreed on the telephone." }""")!;
}
