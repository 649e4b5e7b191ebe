using System.Text.Json.Nodes;

namespace RehabRecords.Tests.Fhir.Packages;

/// <summary>Audit events as the basic audit profiles want them, each with one thing wrong on demand.</summary>
internal static class AuditEvents
{
    private const string Dicom = "http://dicom.nema.org/resources/ontology/DCM";
    private const string EntityType = "http://terminology.hl7.org/CodeSystem/audit-entity-type";
    private const string Role = "http://terminology.hl7.org/CodeSystem/object-role";

    public static string Of(string url, string profile, string wrong)
    {
        var disclosure = profile.StartsWith("PrivacyDisclosure", StringComparison.Ordinal);
        var kind = disclosure ? "disclose" : profile.Replace("Patient", "", StringComparison.Ordinal) switch
        {
            "Query" => "search-type",
            var other => other.ToLowerInvariant(),
        };
        // Who asks and who answers: for a read the data goes to the client, for the rest it comes from there.
        var (client, server) = kind switch
        {
            "read" => (Coding(Dicom, "110152"), Coding(Dicom, "110153")),
            "delete" => (Coding(Dicom, "110150"), Coding("http://terminology.hl7.org/CodeSystem/provenance-participant-type", "custodian")),
            _ => (Coding(Dicom, "110153"), Coding(Dicom, "110152")),
        };
        var receives = profile.EndsWith("Recipient", StringComparison.Ordinal);
        var observer = new JsonObject { ["display"] = receives ? "Community team" : "RehabRecords" };
        var agents = disclosure
            ? new JsonArray(Agent(Coding(Dicom, "110153"), Who("RehabRecords")), Agent(Coding(Dicom, "110152"), Who("Community team")))
            : new JsonArray(Agent(client, Who("Notes system")), Agent(server, Who("RehabRecords")));
        var data = kind == "search-type"
            ? new JsonObject { ["type"] = Coding(EntityType, "2"), ["role"] = Coding(Role, "24"), ["query"] = "R0VUIC9maGlyL1BhdGllbnQ=" }
            : new JsonObject { ["what"] = Who("CarePlan of the programme"), ["type"] = Coding(EntityType, "2"), ["role"] = Coding(Role, "4") };
        var entities = new JsonArray(data);
        if (disclosure || profile.StartsWith("Patient", StringComparison.Ordinal))
            entities.Add((JsonNode)new JsonObject { ["what"] = new JsonObject { ["reference"] = "Patient/p1" }, ["type"] = Coding(EntityType, "1"), ["role"] = Coding(Role, "1") });
        var audit = new JsonObject
        {
            ["resourceType"] = "AuditEvent",
            ["meta"] = new JsonObject { ["profile"] = new JsonArray(url) },
            ["type"] = disclosure ? Coding(Dicom, receives ? "110107" : "110106") : Coding("http://terminology.hl7.org/CodeSystem/audit-event-type", "rest"),
            ["subtype"] = new JsonArray(Coding(disclosure ? "http://terminology.hl7.org/CodeSystem/iso-21089-lifecycle" : "http://hl7.org/fhir/restful-interaction", kind)),
            ["action"] = disclosure ? (receives ? "C" : "R") : kind == "search-type" ? "E" : kind[..1].ToUpperInvariant(),
            ["recorded"] = "2026-01-05T10:00:00Z",
            ["outcome"] = "0",
            ["agent"] = agents,
            ["source"] = new JsonObject { ["observer"] = observer },
            ["entity"] = entities,
        };
        Break(audit, wrong);
        return audit.ToJsonString();
    }

    private static void Break(JsonObject audit, string wrong)
    {
        switch (wrong)
        {
            case "":
                break;
            case "no patient":
                audit["entity"]!.AsArray().RemoveAt(1);
                break;
            case "failed":
                audit["outcome"] = "8";
                break;
            case "wrong action":
                audit["action"] = "U";
                break;
            case "one agent":
                audit["agent"]!.AsArray().RemoveAt(1);
                break;
            case "roles swapped":
                audit["agent"]![0]!["type"] = Concept("http://terminology.hl7.org/CodeSystem/v3-ParticipationType", "AUT");
                break;
            case "no network":
                audit["agent"]![0]!.AsObject().Remove("network");
                break;
            case "wrong subtype":
                audit["subtype"]![0]!["code"] = "read";
                break;
            case "no subtype":
                audit.Remove("subtype");
                break;
            case "no query":
                audit["entity"]![0]!.AsObject().Remove("query");
                break;
            case "another observer":
                audit["source"]!["observer"] = Who("Somebody else");
                break;
            case "wrong type":
                audit["type"]!["code"] = "110106";
                break;
            default:
                throw new ArgumentOutOfRangeException(nameof(wrong), wrong, "There is no such mistake.");
        }
    }

    private static JsonObject Agent(JsonObject type, JsonObject who) => new()
    {
        ["type"] = new JsonObject { ["coding"] = new JsonArray(type) },
        ["who"] = who,
        ["requestor"] = false,
        ["network"] = new JsonObject { ["address"] = "127.0.0.1", ["type"] = "2" },
    };

    private static JsonObject Who(string name) => new() { ["display"] = name };

    private static JsonObject Coding(string system, string code) => new() { ["system"] = system, ["code"] = code };

    private static JsonObject Concept(string system, string code) => new() { ["coding"] = new JsonArray(Coding(system, code)) };
}
