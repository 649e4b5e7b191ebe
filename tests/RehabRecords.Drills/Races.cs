using System.Globalization;
using System.Net;
using System.Net.Http.Headers;
using System.Text;
using System.Text.Json.Nodes;

namespace RehabRecords.Drills;

/// <summary>Several at once want the same.</summary>
internal static class Races
{
    /// <summary>Thirty-two clients create a resource under one identifier, key after key.</summary>
    public static async Task<Finding> CreateAsync(int rounds, int seed)
    {
        using var backend = new Backend();
        var (created, wrong) = (0, 0);
        await using var fleet = await Fleet.StartAsync(backend);
        for (var key = 0; key < rounds; key++)
        {
            var identifier = $"https://drill.example/race|{seed}-{key}";
            var answers = await Task.WhenAll(Enumerable.Range(0, 32).Select(async client =>
            {
                using var request = new HttpRequestMessage(HttpMethod.Post, "/fhir/Patient") { Content = Fhir(new JsonObject { ["resourceType"] = "Patient", ["identifier"] = new JsonArray(new JsonObject { ["system"] = "https://drill.example/race", ["value"] = $"{seed}-{key}" }) }) };
                request.Headers.Add("If-None-Exist", $"identifier={identifier}");
                using var answer = await fleet.Of(client).Http.SendAsync(request);
                return (answer.StatusCode, Id: answer.Headers.Location?.ToString().Split("/_history")[0].Split('/')[^1]);
            }));
            created += answers.Count(a => a.StatusCode == HttpStatusCode.Created);
            wrong += answers.Count(a => a.StatusCode == HttpStatusCode.Created) == 1 && answers.All(a => a.StatusCode is HttpStatusCode.Created or HttpStatusCode.OK) && answers.Select(a => a.Id).Distinct().Count() == 1 ? 0 : 1;
        }

        return new Finding("32 conditional creates of one identifier at once", rounds, created, 0, $"{wrong} keys not created exactly once and answered 200 to the others", wrong == 0 && created == rounds);
    }

    /// <summary>Sixteen clients update one resource, each from the version it read.</summary>
    public static async Task<Finding> UpdateAsync(int rounds, int seed)
    {
        using var backend = new Backend();
        await using var fleet = await Fleet.StartAsync(backend);
        var made = await Person.PostAsync(fleet.Of(0), "/fhir/Observation", Person.Observation(null, seed));
        var address = $"/fhir/Observation/{made["id"]}";
        var (stored, refused, other) = (0, 0, 0);
        await Task.WhenAll(Enumerable.Range(0, 16).Select(async client =>
        {
            for (var n = 0; n < rounds; n++)
            {
                var instance = fleet.Of(client);
                using var read = await instance.Http.GetAsync(address);
                var resource = JsonNode.Parse(await read.Content.ReadAsStringAsync())!.AsObject();
                // Each adds itself: an update that was lost would be missing from the last version.
                var notes = resource["note"] as JsonArray ?? [];
                resource["note"] = notes;
                notes.Add(new JsonObject { ["text"] = $"{client.ToString(CultureInfo.InvariantCulture)}/{n.ToString(CultureInfo.InvariantCulture)}" });
                using var request = new HttpRequestMessage(HttpMethod.Put, address) { Content = Fhir(resource) };
                request.Headers.IfMatch.Add(new EntityTagHeaderValue(read.Headers.ETag!.Tag, isWeak: true));
                using var answer = await instance.Http.SendAsync(request);
                _ = answer.StatusCode switch
                {
                    HttpStatusCode.OK => Interlocked.Increment(ref stored),
                    HttpStatusCode.PreconditionFailed or HttpStatusCode.Conflict => Interlocked.Increment(ref refused),
                    _ => Interlocked.Increment(ref other),
                };
            }
        }));
        var last = JsonNode.Parse(await fleet.Of(0).Http.GetStringAsync(address))!;
        var kept = last["note"]!.AsArray().Count;
        var version = int.Parse((string)last["meta"]!["versionId"]!, CultureInfo.InvariantCulture);
        return new Finding("16 clients update one resource, each from the version it read", 16 * rounds, stored, stored - kept,
            $"{refused} refused with 412, {other} otherwise; versions gained {version - 1}", kept == stored && version - 1 == stored && other == 0 && refused > 0);
    }

    /// <summary>The same session ten times at once under one key, again after a restart, and with another body.</summary>
    public static async Task<Finding> RepeatAsync(int rounds, int seed)
    {
        using var backend = new Backend();
        var kept = new List<(string Key, JsonObject Body, string Answer)>();
        var wrong = 0;
        await using (var fleet = await Fleet.StartAsync(backend))
        {
            for (var round = 0; round < rounds; round++)
            {
                var (key, body) = ($"drill-{seed}-{round}", Somebody($"{seed}-{round}"));
                var answers = await Task.WhenAll(Enumerable.Range(0, 10).Select(client => TellAsync(fleet.Of(client), key, body)));
                wrong += answers.Distinct().Count() == 1 && answers[0].StartsWith("201", StringComparison.Ordinal) ? 0 : 1;
                kept.Add((key, body, answers[0]));
            }

            await fleet.KillAsync();
        }

        await using var again = await Instance.StartAsync(backend);
        foreach (var (key, body, answer) in kept)
        {
            wrong += await TellAsync(again, key, body) == answer ? 0 : 1;
            var changed = body.DeepClone().AsObject();
            changed["familyName"] = "Otherwise";
            wrong += (await TellAsync(again, key, changed)).StartsWith("422", StringComparison.Ordinal) ? 0 : 1;
        }

        var people = JsonNode.Parse(await again.Http.GetStringAsync("/fhir/Patient?_summary=count"))!;
        return new Finding("the same post ten times at once, after a restart, and with another body", rounds, rounds, rounds - Math.Min(rounds, (int)people["total"]!),
            $"{wrong} answers not the first one again; {people["total"]} stored", wrong == 0 && (int)people["total"]! == rounds);
    }

    private static JsonObject Somebody(string value) => new()
    {
        ["identifier"] = new JsonObject { ["system"] = "https://drill.example/person", ["value"] = value },
        ["familyName"] = "Drillman",
        ["givenNames"] = new JsonArray("Testa"),
        ["birthDate"] = "1955-05-05",
        ["sex"] = "female",
        ["dominantHand"] = "right",
        ["affectedSide"] = "right",
    };

    private static async Task<string> TellAsync(Instance instance, string key, JsonObject body)
    {
        using var request = new HttpRequestMessage(HttpMethod.Post, "/api/people") { Content = new StringContent(body.ToJsonString(), Encoding.UTF8, "application/json") };
        request.Headers.Add("Idempotency-Key", key);
        using var answer = await instance.Http.SendAsync(request);
        return $"{(int)answer.StatusCode} {answer.Headers.Location} {await answer.Content.ReadAsStringAsync()}";
    }

    private static StringContent Fhir(JsonNode body) => new(body.ToJsonString(), Encoding.UTF8, "application/fhir+json");
}
