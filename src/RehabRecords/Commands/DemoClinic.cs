using System.Net.Http.Headers;
using System.Text;
using System.Text.Json.Nodes;

namespace RehabRecords.Commands;

/// <summary>
/// Posts the files of examples/demo to the public interface, as a notes system would; it knows no other door.
/// How the files refer to each other is told in examples/demo/README.md.
/// </summary>
internal sealed class DemoClinic(HttpClient http, string folder)
{
    /// <summary>Folder of the files and the route that its bodies are posted to, in the order of posting.</summary>
    private static readonly (string Folder, string Route)[] Steps =
    [
        ("1-people", "/api/people"),
        ("2-exercises", "/api/exercises"),
        ("3-templates", "/api/templates"),
        ("4-programmes", "/api/programmes"),
        ("5-measures", "/api/measures"),
        ("6-sessions", "/api/sessions"),
        ("7-pauses", "/api/programmes/{programme}/pauses"),
        ("7-revisions", "/api/programmes/{programme}/revisions"),
        ("8-decisions", "/api/programmes/{programme}/decisions"),
        ("9-discharges", "/api/discharges"),
    ];

    /// <summary>The programme of the person after whom the file is named.</summary>
    private const string OfProgramme = "{programme}";

    private readonly Dictionary<string, JsonNode> _answers = new(StringComparer.Ordinal);

    /// <param name="Folder">Of the file, such as 6-sessions.</param>
    /// <param name="Name">Of the file, without its ending.</param>
    /// <param name="Body">As posted, with the references replaced.</param>
    /// <param name="Result">As answered.</param>
    public sealed record Answer(string Folder, string Name, JsonNode Body, JsonNode Result);

    /// <summary>The folder beside the binary, so that the demo runs from anywhere.</summary>
    public static string DefaultFolder => Path.Combine(AppContext.BaseDirectory, "examples", "demo");

    public async Task<IReadOnlyList<Answer>> PostAllAsync(CancellationToken ct)
    {
        var answers = new List<Answer>();
        foreach (var (step, route) in Steps)
        {
            foreach (var file in Directory.EnumerateFiles(Path.Combine(folder, step), "*.json").Order(StringComparer.Ordinal))
                answers.Add(await PostAsync(file, step, route, ct));
        }

        return answers;
    }

    private async Task<Answer> PostAsync(string file, string step, string route, CancellationToken ct)
    {
        var name = Path.GetFileNameWithoutExtension(file);
        if (route.Contains(OfProgramme, StringComparison.Ordinal))
            route = route.Replace(OfProgramme, Named($"@4-programmes/{name}").ToString(), StringComparison.Ordinal);
        var body = Resolved(JsonNode.Parse(await File.ReadAllTextAsync(file, ct))!);
        using var request = new HttpRequestMessage(HttpMethod.Post, route) { Content = new StringContent(body.ToJsonString(), Encoding.UTF8, "application/json") };
        request.Headers.Accept.Add(new MediaTypeWithQualityHeaderValue("application/json"));
        request.Headers.Add("Idempotency-Key", $"demo/{step}/{name}");
        using var response = await http.SendAsync(request, ct);
        var text = await response.Content.ReadAsStringAsync(ct);
        if (!response.IsSuccessStatusCode)
            throw new DemoRefusedException($"POST {route} with {step}/{name}.json was refused with {(int)response.StatusCode}:\n{text}");
        var result = JsonNode.Parse(text)!;
        _answers[$"{step}/{name}"] = result;
        return new Answer(step, name, body, result);
    }

    private JsonNode Resolved(JsonNode node) => node switch
    {
        JsonObject members => new JsonObject(members.Select(m => KeyValuePair.Create(m.Key, m.Value is null ? null : Resolved(m.Value)))),
        JsonArray items => new JsonArray([.. items.Select(i => i is null ? null : Resolved(i))]),
        JsonValue value when value.TryGetValue<string>(out var text) && text.StartsWith('@') => Named(text),
        _ => node.DeepClone(),
    };

    private JsonNode Named(string reference)
    {
        var parts = reference[1..].Split('#', 2);
        if (!_answers.TryGetValue(parts[0], out var answer))
            throw new DemoRefusedException($"{reference} names no file that was posted before it.");
        var found = answer;
        foreach (var step in (parts.Length > 1 ? parts[1] : "/id").Split('/').Skip(1))
            found = found is JsonArray list ? list[int.Parse(step)] : found?[step];
        return found?.DeepClone() ?? throw new DemoRefusedException($"{reference} points at nothing in the answer:\n{answer.ToJsonString()}");
    }
}

/// <summary>The demo's own files and the service disagree; the message says where.</summary>
internal sealed class DemoRefusedException(string message) : Exception(message);
