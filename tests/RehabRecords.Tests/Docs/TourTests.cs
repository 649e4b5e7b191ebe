using System.Text.Json.Nodes;
using System.Text.RegularExpressions;
using RehabRecords.Commands;

namespace RehabRecords.Tests.Docs;

/// <summary>The tour of the first page, walked: its requests are sent, and what it says they answer is what they answer.</summary>
public sealed partial class TourTests(TestApp app) : IClassFixture<TestApp>
{
    private static readonly string Page = File.ReadAllText(Path.Combine(Repository.Root, "README.md"));

    [Fact]
    public async Task What_the_tour_shows_is_what_the_service_answers()
    {
        var demo = await new DemoClinic(app.Http, DemoClinic.DefaultFolder).PostAllAsync(default);
        Assert.Equal(int.Parse(Regex.Match(Page, @"and (\d+) sessions over HTTP").Groups[1].Value), demo.Count(a => a.Folder == "6-sessions"));
        var person = (string)demo.Single(a => a.Name == "farid-exampleton" && a.Folder == "1-people").Result["id"]!;
        var programme = (string)demo.Single(a => a.Name == "farid-exampleton" && a.Folder == "4-programmes").Result["id"]!;
        var bodies = Body().Matches(Page).Select(m => m.Groups[1].Value.Replace("'$PERSON'", person, StringComparison.Ordinal).Replace("'$PROGRAMME'", programme, StringComparison.Ordinal)).ToList();
        Assert.Equal(2, bodies.Count);

        var answer = await app.PostAsync("/api/sessions", JsonNode.Parse(bodies[0])!);
        var note = await app.Http.GetStringAsync((string)answer["note"]!["address"]!, "text/plain");
        using var refusal = await app.Http.PostAsync("/api/sessions", TestApp.Json(bodies[1]));
        var problem = JsonNode.Parse(await refusal.Content.ReadAsStringAsync())!;
        string[] said =
        [
            .. demo.Where(a => a.Folder == "6-sessions").Select(a => (string)a.Result["note"]!["text"]!),
            $"{(answer["urgent"] is null ? "null" : "urgent")}\n{answer["adherence"]!["text"]}",
            string.Join('\n', answer["suggestions"]!.AsArray().Select(s => $"{s!["exercise"]}: {s["suggestion"]}")),
            note,
            $"{(int)refusal.StatusCode} {problem["detail"]}",
        ];
        Assert.All(Shown(), shown => Assert.Contains(said, text => Plain(text).Contains(shown, StringComparison.Ordinal)));
        Assert.Contains(answer["note"]!["statements"]!.AsArray(), s => ((string)s!["text"]!).Contains("two sets", StringComparison.Ordinal) && s["evidence"]![0] is not null);
    }

    /// <summary>What the blocks of output say, a line or a sentence of a note at a time, without the line breaks inside it.</summary>
    private static IEnumerable<string> Shown() =>
        TextBlock().Matches(Page).SelectMany(block => Regex.Split(block.Groups[1].Value.Trim(), @"\n(?! )")).Select(Plain);

    private static string Plain(string text) => Regex.Replace(text, @"\s+", " ").Trim();

    [GeneratedRegex(@"-d '(\{.*?\})'( >| \|)", RegexOptions.Singleline)]
    private static partial Regex Body();

    [GeneratedRegex(@"^```text\n(.*?)^```", RegexOptions.Singleline | RegexOptions.Multiline)]
    private static partial Regex TextBlock();
}

internal static class PlainReads
{
    public static async Task<string> GetStringAsync(this HttpClient http, string address, string accept)
    {
        using var request = new HttpRequestMessage(HttpMethod.Get, address);
        request.Headers.Add("Accept", accept);
        using var answer = await http.SendAsync(request);
        return await answer.EnsureSuccessStatusCode().Content.ReadAsStringAsync();
    }
}
