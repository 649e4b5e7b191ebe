using System.Net;
using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using Hl7.Fhir.Serialization;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Tests.Trade;
using static RehabRecords.Tests.Trade.TradeApp;

namespace RehabRecords.Tests.Exchange;

/// <summary>A hospital and a community team: two services, each with a store, an address and a clock of its own.</summary>
public sealed class Teams : IAsyncLifetime
{
    public const string HospitalBase = "http://hospital.test/fhir", CommunityBase = "http://community.test/fhir";

    public const string Hospital = """{ "name": "Fictional Hospital", "identifier": { "system": "https://directory.test/id/organisation", "value": "hospital" } }""";

    public const string Community = """{ "name": "Fictional Vale Community Therapy", "identifier": { "system": "https://directory.test/id/organisation", "value": "community" } }""";

    public const string By = """{ "name": "Rowan Invented", "role": "physiotherapist", "registration": "INV-1" }""";

    public TradeApp Here { get; } = new() { Settings = { ["RehabRecords:PublicUrl"] = "http://hospital.test" } };

    public TestApp There { get; } = new() { Clock = new TestClock(DateTimeOffset.Parse("2026-06-15T12:30:00Z")), Settings = { ["RehabRecords:PublicUrl"] = "http://community.test" } };

    public TestClock TimeThere => (TestClock)There.Clock!;

    public async System.Threading.Tasks.Task InitializeAsync()
    {
        await ((IAsyncLifetime)Here).InitializeAsync();
        await There.InitializeAsync();
    }

    public async System.Threading.Tasks.Task DisposeAsync()
    {
        await ((IAsyncLifetime)Here).DisposeAsync();
        await ((IAsyncLifetime)There).DisposeAsync();
    }

    public static async Task<JsonNode> ConsentAsync(TestApp at, string person, string recipient, params (string Path, string? Json)[] changes) =>
        await at.PostAsync($"/api/people/{person}/consents", With($$"""{ "decision": "permit", "recipient": {{recipient}}, "recordedBy": {{By}} }""", changes));

    /// <summary>A person with a number, a carer and a precaution, with a programme, a goal and a measure, agreed to be shared.</summary>
    public async Task<(string Person, string Programme)> PrescribedAsync(params (string Path, string? Json)[] changes)
    {
        var number = Next();
        var body = With(TradeApp.Person, ("identifier", $$"""{ "system": "https://hospital.test/id/person", "value": "{{number}}" }"""), ("familyName", $"\"Placeholder {number}\""));
        var person = (string)(await Here.PostAsync("/api/people", body))["id"]!;
        var programme = With(Programme(person).ToJsonString(), [("author", By), .. changes]);
        var id = (string)(await Here.PostAsync("/api/programmes", programme))["id"]!;
        await Here.PostAsync("/api/measures", JsonNode.Parse($$"""{ "person": "{{person}}", "measure": "box-and-block", "side": "right", "value": 25, "measuredAt": "2026-05-29T10:00:00+01:00", "unit": "{blocks}/min", "assessor": {{By}} }""")!);
        await ConsentAsync(Here, person, Community);
        return (person, id);
    }

    public static string Recipient(string organisation) =>
        Uri.EscapeDataString($"{JsonNode.Parse(organisation)!["identifier"]!["system"]}|{JsonNode.Parse(organisation)!["identifier"]!["value"]}");

    public static async Task<Bundle> HandOverAsync(TestApp from, string programme, string recipient, string more = "")
    {
        using var answer = await from.Http.GetAsync($"/api/programmes/{programme}/exchange?recipient={Recipient(recipient)}{more}");
        var bytes = await answer.Content.ReadAsByteArrayAsync();
        Assert.True(answer.StatusCode == HttpStatusCode.OK, $"{(int)answer.StatusCode}: {System.Text.Encoding.UTF8.GetString(bytes)}");
        return (Bundle)ResourceReader.Read(bytes, FhirFormat.Json);
    }

    public static StringContent Body(Bundle bundle) => TestApp.Json(new FhirJsonSerializer().SerializeToString(bundle), "application/fhir+json");

    public static async Task<JsonNode> TakeInAsync(TestApp at, Bundle bundle, string query = "")
    {
        using var answer = await at.Http.PostAsync("/api/exchange" + query, Body(bundle));
        var text = await answer.Content.ReadAsStringAsync();
        Assert.True(answer.IsSuccessStatusCode, $"{(int)answer.StatusCode}: {text}");
        return JsonNode.Parse(text)!;
    }
}
