using System.Text;
using System.Text.Json;
using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using Hl7.Fhir.Serialization;

namespace RehabRecords.Tests.Rest;

/// <summary>The words in which the tests of the FHIR face are written.</summary>
internal static class FhirCalls
{
    public const string Json = "application/fhir+json";
    public const string Xml = "application/fhir+xml";
    public const string IdSystem = "https://clinic.test/id";

    private static readonly JsonSerializerOptions Fhir = new JsonSerializerOptions().ForFhir(ModelInfo.ModelInspector);

    public static string Person(string family = "Sampleton", string? identifier = null, string? id = null)
    {
        var person = new JsonObject
        {
            ["resourceType"] = "Patient",
            ["name"] = new JsonArray(new JsonObject { ["family"] = family, ["given"] = new JsonArray("Ada") }),
            ["birthDate"] = "1950-04-03",
        };
        if (identifier is not null)
            person["identifier"] = new JsonArray(new JsonObject { ["system"] = IdSystem, ["value"] = identifier });
        if (id is not null)
            person["id"] = id;
        return person.ToJsonString();
    }

    public static string Weight(string subject, string? id = null)
    {
        var observation = new JsonObject
        {
            ["resourceType"] = "Observation",
            ["status"] = "final",
            ["code"] = new JsonObject { ["text"] = "Grip" },
            ["subject"] = new JsonObject { ["reference"] = subject },
            ["effectiveDateTime"] = "2026-03-02T10:00:00+00:00",
            ["valueQuantity"] = new JsonObject { ["value"] = 12.50m, ["unit"] = "kg", ["system"] = "http://unitsofmeasure.org", ["code"] = "kg" },
        };
        if (id is not null)
            observation["id"] = id;
        return observation.ToJsonString();
    }

    public static JsonObject Bundle(string type, params JsonObject[] entries) => new()
    {
        ["resourceType"] = "Bundle",
        ["type"] = type,
        ["entry"] = new JsonArray([.. entries]),
    };

    public static JsonObject Entry(string method, string url, string? resource = null, string? fullUrl = null, string? ifMatch = null, string? ifNoneExist = null)
    {
        var request = new JsonObject { ["method"] = method, ["url"] = url };
        if (ifMatch is not null)
            request["ifMatch"] = ifMatch;
        if (ifNoneExist is not null)
            request["ifNoneExist"] = ifNoneExist;
        var entry = new JsonObject();
        if (fullUrl is not null)
            entry["fullUrl"] = fullUrl;
        if (resource is not null)
            entry["resource"] = JsonNode.Parse(resource);
        entry["request"] = request;
        return entry;
    }

    /// <summary>Sends a request to the FHIR face.</summary>
    public static async Task<HttpResponseMessage> SendAsync(
        this TestApp app, string method, string path, string? body = null, string contentType = Json, params (string Name, string Value)[] headers)
    {
        using var request = new HttpRequestMessage(new HttpMethod(method), "/fhir" + path);
        if (body is not null)
        {
            request.Content = new ByteArrayContent(Encoding.UTF8.GetBytes(body));
            request.Content.Headers.TryAddWithoutValidation("Content-Type", contentType);
        }
        foreach (var (name, value) in headers)
            Assert.True(request.Headers.TryAddWithoutValidation(name, value) || request.Content!.Headers.TryAddWithoutValidation(name, value));
        return await app.Http.SendAsync(request);
    }

    /// <summary>Creates a resource and gives its id.</summary>
    public static async Task<string> CreateAsync(this TestApp app, string body)
    {
        var type = JsonNode.Parse(body)!["resourceType"]!.ToString();
        using var response = await app.SendAsync("POST", "/" + type, body);
        Assert.True((int)response.StatusCode == 201, $"{(int)response.StatusCode}: {await response.Content.ReadAsStringAsync()}");
        return (await response.FhirAsync<Resource>()).Id!;
    }

    public static async Task<T> FhirAsync<T>(this HttpResponseMessage response)
        where T : Resource
    {
        var text = await response.Content.ReadAsStringAsync();
        var resource = response.Content.Headers.ContentType?.MediaType?.Contains("xml") == true
            ? FhirXmlDeserializer.DEFAULT.DeserializeResource(text)
            : JsonSerializer.Deserialize<Resource>(text, Fhir)!;
        return Assert.IsAssignableFrom<T>(resource);
    }

    /// <summary>The answer must be this status, as an OperationOutcome that says something and gives nothing away.</summary>
    public static async Task<OperationOutcome> RefusedAsync(this HttpResponseMessage response, int status, string? says = null)
    {
        var text = await response.Content.ReadAsStringAsync();
        Assert.True((int)response.StatusCode == status, $"Expected {status}, got {(int)response.StatusCode}: {text}");
        var outcome = await response.FhirAsync<OperationOutcome>();
        Assert.NotEmpty(outcome.Issue);
        Assert.All(outcome.Issue, issue => Assert.False(string.IsNullOrWhiteSpace(issue.Diagnostics)));
        Assert.Contains(outcome.Issue, issue => issue.Severity is OperationOutcome.IssueSeverity.Error or OperationOutcome.IssueSeverity.Fatal);
        Assert.DoesNotContain("   at ", text, StringComparison.Ordinal);
        Assert.DoesNotContain("Exception", text, StringComparison.Ordinal);
        if (says is not null)
            Assert.Contains(says, string.Join(" ", outcome.Issue.Select(i => i.Diagnostics)), StringComparison.Ordinal);
        Assert.True(response.Headers.Contains("X-Request-Id"));
        return outcome;
    }

    public static string? ETag(this HttpResponseMessage response) => response.Headers.ETag?.ToString();

    public static string Text(this HttpResponseMessage response) => response.Content.ReadAsStringAsync().GetAwaiter().GetResult();
}
