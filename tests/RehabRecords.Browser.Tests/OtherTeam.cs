using System.Text.Json.Nodes;

namespace RehabRecords.Browser.Tests;

/// <summary>A team with a record of its own, to which programmes are handed over and from which they come back.</summary>
internal sealed class OtherTeam : IAsyncDisposable
{
    private const string Here = "pebblewick", There = "vale-community-team";

    private readonly ServedClinic _clinic;

    public OtherTeam(ServedClinic clinic) => _clinic = clinic;

    public RunningService App { get; } = new(new() { ["RehabRecords:PublicUrl"] = "http://vale.example", ["urls"] = "http://127.0.0.1:0" });

    public ValueTask DisposeAsync() => App.DisposeAsync();

    /// <summary>The programme is handed over; both sides change it, each another exercise and both a third; theirs comes back and waits.</summary>
    /// <returns>Id of the choice that waits.</returns>
    public async Task<string> ChangesAsWellAsync(Newcomer wren)
    {
        await ConsentAsync(_clinic.App, wren.Person, "Vale Community Team", There);
        var taken = await TakeInAsync(App, await _clinic.App.GetAsync(Exchange(wren, There)));
        await ReviseAsync(App, wren, "Sam Inventsen", ("clothes-pegs", 3), ("card-turning", 4));
        await ReviseAsync(_clinic.App, wren, "Rowan Pretendley", ("card-turning", 3));
        await ConsentAsync(App, ((string)taken["person"]!).Split('/')[1], "Pebblewick Community Therapy", Here);
        var answer = await TakeInAsync(_clinic.App, await App.GetAsync(Exchange(wren, Here)));
        Assert.Equal("conflict", (string?)answer["outcome"]);
        return ((string)answer["task"]!).Split('/')[1];
    }

    public static Task<JsonNode> ReviseAsync(RunningService at, Newcomer wren, string by, params IEnumerable<(string Exercise, int Sets)> changes) => at.PostAsync($"/api/programmes/{wren.Programme}/revisions", new JsonObject
    {
        ["by"] = new JsonObject { ["name"] = by, ["role"] = "physiotherapist" },
        ["reason"] = "Two sets have become easy.",
        ["change"] = new JsonArray([.. changes.Select(c => new JsonObject { ["exercise"] = c.Exercise, ["dosage"] = new JsonObject { ["sets"] = c.Sets } })]),
    });

    private static string Exchange(Newcomer wren, string recipient) => $"/api/programmes/{wren.Programme}/exchange?recipient=https://directory.example/id/organisation|{recipient}";

    private static Task<JsonNode> ConsentAsync(RunningService at, string person, string name, string recipient) => at.PostAsync($"/api/people/{person}/consents", JsonNode.Parse($$"""
        {
          "decision": "permit", "recipient": { "name": "{{name}}", "identifier": { "system": "https://directory.example/id/organisation", "value": "{{recipient}}" } },
          "recordedBy": { "name": "Rowan Pretendley", "role": "physiotherapist" }
        }
        """)!);

    private static async Task<JsonNode> TakeInAsync(RunningService at, JsonNode document)
    {
        using var answer = await at.Http.PostAsync("/api/exchange", RunningService.Json(document, "application/fhir+json"));
        var text = await answer.Content.ReadAsStringAsync();
        Assert.True(answer.IsSuccessStatusCode, text);
        return JsonNode.Parse(text)!;
    }
}
