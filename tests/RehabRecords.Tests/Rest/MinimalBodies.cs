using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using Hl7.Fhir.Serialization;
using RehabRecords.Fhir.Parsing;

namespace RehabRecords.Tests.Rest;

/// <summary>The least that R4 asks of each type, about a person who is given.</summary>
internal static class MinimalBodies
{
    private static readonly Dictionary<string, string> Bodies = new(StringComparer.Ordinal)
    {
        ["Patient"] = """{"active":true}""",
        ["RelatedPerson"] = """{"patient":{"reference":"@"}}""",
        ["Practitioner"] = """{"active":true}""",
        ["PractitionerRole"] = """{"active":true}""",
        ["Organization"] = """{"name":"Clinic of Invention"}""",
        ["CareTeam"] = """{"subject":{"reference":"@"}}""",
        ["EpisodeOfCare"] = """{"status":"active","patient":{"reference":"@"}}""",
        ["ActivityDefinition"] = """{"status":"draft"}""",
        ["PlanDefinition"] = """{"status":"draft"}""",
        ["CarePlan"] = """{"status":"draft","intent":"plan","subject":{"reference":"@"}}""",
        ["ServiceRequest"] = """{"status":"draft","intent":"plan","subject":{"reference":"@"}}""",
        ["Procedure"] = """{"status":"completed","subject":{"reference":"@"}}""",
        ["Observation"] = """{"status":"final","code":{"text":"Grip"},"subject":{"reference":"@"}}""",
        ["Goal"] = """{"lifecycleStatus":"active","description":{"text":"Do up a cardigan"},"subject":{"reference":"@"}}""",
        ["Communication"] = """{"status":"completed","subject":{"reference":"@"}}""",
        ["Task"] = """{"status":"requested","intent":"order","for":{"reference":"@"}}""",
        ["Flag"] = """{"status":"active","code":{"text":"Numb fingertips"},"subject":{"reference":"@"}}""",
        ["AdverseEvent"] = """{"actuality":"actual","subject":{"reference":"@"}}""",
        ["Consent"] = """
            {"status":"active","scope":{"coding":[{"system":"http://terminology.hl7.org/CodeSystem/consentscope","code":"patient-privacy"}]},
             "category":[{"coding":[{"system":"http://loinc.org","code":"59284-0"}]}],"patient":{"reference":"@"},
             "policyRule":{"coding":[{"system":"http://terminology.hl7.org/CodeSystem/v3-ActCode","code":"OPTIN"}]}}
            """,
        ["Composition"] = """
            {"status":"preliminary","type":{"text":"Letter"},"subject":{"reference":"@"},"date":"2026-06-15","author":[{"display":"Rowan Invented"}],"title":"A letter"}
            """,
        ["Bundle"] = """{"type":"collection"}""",
        ["DocumentReference"] = """{"status":"current","subject":{"reference":"@"},"content":[{"attachment":{"contentType":"text/plain","data":"eA=="}}]}""",
        ["Binary"] = """{"contentType":"text/plain","data":"eA=="}""",
        ["Provenance"] = """{"target":[{"reference":"@"}],"recorded":"2026-06-15T12:00:00Z","agent":[{"who":{"display":"Rowan Invented"}}]}""",
        ["AuditEvent"] = """
            {"type":{"system":"http://terminology.hl7.org/CodeSystem/audit-event-type","code":"rest"},"recorded":"2026-06-15T12:00:00Z",
             "agent":[{"requestor":true,"name":"somebody"}],"source":{"observer":{"display":"RehabRecords"}}}
            """,
        ["Device"] = """{"patient":{"reference":"@"}}""",
        ["QuestionnaireResponse"] = """{"status":"completed","subject":{"reference":"@"}}""",
    };

    public static IEnumerable<string> Types => Bodies.Keys;

    /// <param name="person">Address of the person it is about.</param>
    /// <param name="identifier">A business identifier for it to hold.</param>
    public static Resource Of(string type, string person, Identifier? identifier = null)
    {
        var body = JsonNode.Parse(Bodies[type].Replace("@", person, StringComparison.Ordinal))!.AsObject();
        body.Insert(0, "resourceType", type);
        var resource = ResourceReader.Read(System.Text.Encoding.UTF8.GetBytes(body.ToJsonString()), FhirFormat.Json);
        if (identifier is not null)
            resource["identifier"] = resource.GetType().GetProperty("Identifier")!.PropertyType == typeof(Identifier) ? identifier : new List<Identifier> { identifier };
        return resource;
    }

    public static string Text(Resource resource, string format) =>
        format == FhirCalls.Xml ? FhirXmlSerializer.Default.SerializeToString(resource) : System.Text.Encoding.UTF8.GetString(ResourceWriter.Json(resource));
}
