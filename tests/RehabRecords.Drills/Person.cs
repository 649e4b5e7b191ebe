using System.Text;
using System.Text.Json.Nodes;

namespace RehabRecords.Drills;

/// <summary>A person with a record of some size, made up.</summary>
internal static class Person
{
    public static async Task<string> WithRecordAsync(Instance instance, int results)
    {
        var person = (string)(await PostAsync(instance, "/fhir/Patient", new JsonObject { ["resourceType"] = "Patient", ["name"] = new JsonArray(new JsonObject { ["family"] = "Drillman" }) }))["id"]!;
        for (var at = 0; at < results; at += 100)
            await PostAsync(instance, "/fhir", new JsonObject
            {
                ["resourceType"] = "Bundle",
                ["type"] = "transaction",
                ["entry"] = new JsonArray([.. Enumerable.Range(at, 100).Select(n => (JsonNode)new JsonObject
                {
                    ["resource"] = Observation(person, n),
                    ["request"] = new JsonObject { ["method"] = "POST", ["url"] = "Observation" },
                })]),
            });
        return person;
    }

    public static JsonObject Observation(string? person, int value)
    {
        var observation = new JsonObject
        {
            ["resourceType"] = "Observation",
            ["status"] = "final",
            ["code"] = new JsonObject { ["text"] = "repetitions" },
            ["effectiveDateTime"] = "2026-09-01T10:00:00Z",
            ["valueInteger"] = value,
        };
        if (person is not null)
            observation["subject"] = new JsonObject { ["reference"] = $"Patient/{person}" };
        return observation;
    }

    public static async Task<int> CountAsync(Instance instance, string person) =>
        (int)JsonNode.Parse(await instance.Http.GetStringAsync($"/fhir/Observation?subject=Patient/{person}&_summary=count"))!["total"]!;

    public static async Task<JsonNode> PostAsync(Instance instance, string address, JsonNode body)
    {
        using var content = new StringContent(body.ToJsonString(), Encoding.UTF8, address.StartsWith("/fhir", StringComparison.Ordinal) ? "application/fhir+json" : "application/json");
        using var answer = await instance.Http.PostAsync(address, content);
        var text = await answer.Content.ReadAsStringAsync();
        return answer.IsSuccessStatusCode ? JsonNode.Parse(text)! : throw new InvalidOperationException($"POST {address}: {(int)answer.StatusCode} {text}");
    }
}
