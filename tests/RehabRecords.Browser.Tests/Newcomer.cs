using System.Text.Json.Nodes;
using RehabRecords.Tests;

namespace RehabRecords.Browser.Tests;

/// <summary>A person of a journey's own, with the programme of one of the demo's people, posted as a notes system does; no other test reads or changes them.</summary>
internal sealed record Newcomer(ServedClinic Clinic, string Family, string Person, string Programme)
{
    public const string Given = "Wren";

    public string Name => $"{Given} {Family}";

    public static async Task<Newcomer> ArriveAsync(ServedClinic clinic, string? name = null)
    {
        var family = name ?? $"Newcome{Guid.NewGuid():N}"[..14];
        var person = await DemoAsync("1-people/ada-sampleton");
        (person["familyName"], person["givenNames"], person["identifier"]!["value"]) = (family, new JsonArray(Given), family);
        var id = (string)(await clinic.App.PostAsync("/api/people", person))["id"]!;
        var programme = await DemoAsync("4-programmes/ada-sampleton");
        programme["person"] = id;
        return new Newcomer(clinic, family, id, (string)(await clinic.App.PostAsync("/api/programmes", programme))["id"]!);
    }

    /// <summary>The first session of the person whose programme it is.</summary>
    public async Task<JsonNode> PractiseAsync()
    {
        var session = await DemoAsync("6-sessions/ada-sampleton-01");
        (session["person"], session["programme"], session["identifier"]!["value"]) = (Person, Programme, Family);
        return await Clinic.App.PostAsync("/api/sessions", session);
    }

    /// <summary>What is handed to the carer: an address without the service's own beginning.</summary>
    public async Task<string> LinkAsync()
    {
        var link = await Clinic.App.PostAsync($"/api/programmes/{Programme}/home-links", JsonNode.Parse("""{ "for": "carer", "validUntil": "2026-10-11", "by": { "name": "Rowan Pretendley", "role": "physiotherapist" } }""")!);
        return new Uri((string)link["address"]!).AbsolutePath;
    }

    /// <summary>Sessions that the record holds of the programme, each with its results, the latest last.</summary>
    public async Task<IReadOnlyList<JsonNode>> SessionsAsync() => await AllAsync($"/fhir/Procedure?based-on=CarePlan/{Programme}&_sort=date");

    public async Task<IReadOnlyList<JsonNode>> ResultsAsync(string session) => await AllAsync($"/fhir/Observation?part-of=Procedure/{session}");

    private async Task<IReadOnlyList<JsonNode>> AllAsync(string search) => [.. ((await Clinic.App.GetAsync(search))["entry"]?.AsArray() ?? []).Select(e => e!["resource"]!)];

    private static async Task<JsonObject> DemoAsync(string file) =>
        JsonNode.Parse(await File.ReadAllTextAsync(Path.Combine(Repository.Root, "examples/demo", file + ".json")))!.AsObject();
}
