using System.Diagnostics;
using System.Net.Http.Headers;
using System.Text;
using System.Text.Json.Nodes;
using System.Text.RegularExpressions;

namespace RehabRecords.Benchmarks;

/// <summary>
/// Hands every programme of the demo clinic from one running service to another and back, and prints what arrived. It looks at
/// plain JSON and knows nothing of the service's own code, so it is a second opinion.
/// </summary>
internal static partial class ExchangeTable
{
    private const string By = """{ "name": "Rowan Invented", "role": "physiotherapist" }""";
    private const int DemoSessions = 41;

    public static async Task<int> PrintAsync(string assembly)
    {
        await using var hospital = RunningService.Start(assembly, "demo");
        await using var community = RunningService.Start(assembly);
        await hospital.UntilAsync(async http => (int?)JsonNode.Parse(await http.GetStringAsync("/fhir/Procedure?_summary=count"))!["total"] == DemoSessions);
        await community.UntilReadyAsync();

        var rows = new List<(string Type, bool Received, bool Equal)>();
        var (bytes, made, taken, programmes) = (0L, TimeSpan.Zero, TimeSpan.Zero, 0);
        foreach (var person in JsonNode.Parse(await hospital.Http.GetStringAsync("/api/people"))!.AsArray())
        {
            await ConsentAsync(hospital.Http, (string)person!["id"]!, "community");
            foreach (var programme in JsonNode.Parse(await hospital.Http.GetStringAsync($"/api/programmes?person={person["id"]}"))!.AsArray())
            {
                var id = (string)programme!["id"]!;
                var clock = Stopwatch.StartNew();
                var sent = await HandOverAsync(hospital.Http, id, "community");
                made += clock.Elapsed;
                clock.Restart();
                var answer = await TakeInAsync(community.Http, sent);
                taken += clock.Elapsed;
                bytes += Encoding.UTF8.GetByteCount(sent);
                programmes++;
                await ConsentAsync(community.Http, ((string)answer["person"]!)["Patient/".Length..], "hospital");
                var back = Resources(await HandOverAsync(community.Http, id, "hospital"), community.Http.BaseAddress!);
                foreach (var (key, resource) in Resources(sent, hospital.Http.BaseAddress!).Where(r => !r.Key.StartsWith("Consent/", StringComparison.Ordinal) && !r.Key.StartsWith("Organization/", StringComparison.Ordinal)))
                    rows.Add((key[..key.IndexOf('/')], back.ContainsKey(key), back.TryGetValue(key, out var found) && JsonNode.DeepEquals(found, resource)));
            }
        }

        Console.WriteLine($"{programmes} programmes of the demo, handed over, taken in elsewhere, handed back. Consents and the organisations they name are agreed anew at each place and not compared.");
        Console.WriteLine($"{"resource type",-22}{"sent",6}{"received",10}{"equal",8}");
        foreach (var type in rows.GroupBy(r => r.Type).OrderBy(g => g.Key, StringComparer.Ordinal))
            Console.WriteLine($"{type.Key,-22}{type.Count(),6}{type.Count(r => r.Received),10}{type.Count(r => r.Equal),8}");
        Console.WriteLine($"{"all",-22}{rows.Count,6}{rows.Count(r => r.Received),10}{rows.Count(r => r.Equal),8}");
        Console.WriteLine($"a document has {bytes / programmes / 1024} kB; made and audited in {made.TotalMilliseconds / programmes:0} ms, checked and taken in in {taken.TotalMilliseconds / programmes:0} ms (means of {programmes})");
        return rows.TrueForAll(r => r.Equal) ? 0 : 1;
    }

    private static async Task ConsentAsync(HttpClient http, string person, string organisation)
    {
        using var answer = await http.PostAsync($"/api/people/{person}/consents", new StringContent(
            $$"""{ "decision": "permit", "recipient": { "name": "The {{organisation}}", "identifier": { "system": "https://directory.test/id", "value": "{{organisation}}" } }, "recordedBy": {{By}} }""", Encoding.UTF8, "application/json"));
        answer.EnsureSuccessStatusCode();
    }

    private static Task<string> HandOverAsync(HttpClient http, string programme, string organisation) =>
        http.GetStringAsync($"/api/programmes/{programme}/exchange?recipient=https://directory.test/id|{organisation}");

    private static async Task<JsonNode> TakeInAsync(HttpClient http, string bundle)
    {
        using var answer = await http.PostAsync("/api/exchange", new StringContent(bundle, Encoding.UTF8, new MediaTypeHeaderValue("application/fhir+json")));
        var text = await answer.Content.ReadAsStringAsync();
        return answer.IsSuccessStatusCode ? JsonNode.Parse(text)! : throw new InvalidOperationException(text);
    }

    /// <summary>The resources without what each server sets for itself, by their address of origin.</summary>
    private static Dictionary<string, JsonNode> Resources(string bundle, Uri address)
    {
        var root = $"{address.AbsoluteUri}fhir/";
        // Full addresses of either place and the numbers of cited versions are each server's own.
        var plain = History().Replace(bundle.Replace(root, "", StringComparison.Ordinal), "\"");
        var found = new Dictionary<string, JsonNode>(StringComparer.Ordinal);
        foreach (var entry in JsonNode.Parse(plain)!["entry"]!.AsArray().Where(e => !((string)e!["fullUrl"]!).StartsWith("urn:", StringComparison.Ordinal)))
        {
            var resource = entry!["resource"]!.AsObject();
            var meta = resource["meta"]!.AsObject();
            foreach (var own in new[] { "versionId", "lastUpdated", "source" })
                meta.Remove(own);
            if (meta.Count == 0)
                resource.Remove("meta");
            if (resource["identifier"] is JsonArray identifiers)
            {
                foreach (var origin in identifiers.Where(i => (string?)i!["system"] == "urn:ietf:rfc:3986").ToList())
                    identifiers.Remove(origin);
                if (identifiers.Count == 0)
                    resource.Remove("identifier");
            }
            else if ((string?)resource["identifier"]?["system"] == "urn:ietf:rfc:3986")
                resource.Remove("identifier");

            // The latest version of a thing comes before those that are only cited.
            found.TryAdd($"{resource["resourceType"]}/{resource["id"]}", resource.DeepClone());
        }

        return found;
    }

    [GeneratedRegex("/_history/[0-9]+\"")]
    private static partial Regex History();
}
