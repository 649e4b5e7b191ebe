using System.Net;
using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using static RehabRecords.Tests.Rest.FhirCalls;

namespace RehabRecords.Tests.Rest;

public sealed class ValidateTests(TestApp app) : IClassFixture<TestApp>
{
    private const string Session = "https://rehabrecords.example/fhir/StructureDefinition/session";

    private async Task<OperationOutcome> JudgeAsync(string path, string body, string type = Json)
    {
        var before = app.State();
        using var response = await app.SendAsync("POST", path, body, type);
        Assert.True(response.StatusCode == HttpStatusCode.OK, response.Text());
        Assert.Equal(before, app.State());
        return await response.FhirAsync<OperationOutcome>();
    }

    private static bool IsValid(OperationOutcome outcome) => outcome.Issue.TrueForAll(i => i.Severity is OperationOutcome.IssueSeverity.Information or OperationOutcome.IssueSeverity.Warning);

    private static string Wrapped(string? resource, string? profile = null, string? mode = null)
    {
        var parameters = new JsonArray();
        if (resource is not null)
            parameters.Add((JsonNode)new JsonObject { ["name"] = "resource", ["resource"] = JsonNode.Parse(resource) });
        if (profile is not null)
            parameters.Add((JsonNode)new JsonObject { ["name"] = "profile", ["valueUri"] = profile });
        if (mode is not null)
            parameters.Add((JsonNode)new JsonObject { ["name"] = "mode", ["valueCode"] = mode });
        return new JsonObject { ["resourceType"] = "Parameters", ["parameter"] = parameters }.ToJsonString();
    }

    [Theory]
    [InlineData("/$validate")]
    [InlineData("/Patient/$validate")]
    public async Task A_valid_resource_is_said_to_be_so(string path)
    {
        var outcome = await JudgeAsync(path, Person());
        Assert.True(IsValid(outcome));
        Assert.NotEmpty(outcome.Issue);
    }

    [Fact]
    public async Task An_invalid_resource_is_an_answer_and_not_a_failure()
    {
        var outcome = await JudgeAsync("/Observation/$validate",
            """{"resourceType":"Observation","status":"final","code":{"text":"x"},"valueString":"y","dataAbsentReason":{"text":"both"}}""");
        Assert.Contains(outcome.Issue, i => i.Severity == OperationOutcome.IssueSeverity.Error && i.Code == OperationOutcome.IssueType.Invariant);
    }

    [Fact]
    public async Task An_element_that_cannot_be_read_is_named()
    {
        var outcome = await JudgeAsync("/Patient/$validate", """{"resourceType":"Patient","birthDate":"sometime"}""");
        Assert.Contains(outcome.Issue, i => i.Expression.Any(e => e!.StartsWith("Patient.birthDate", StringComparison.Ordinal)));
    }

    [Fact]
    public async Task Xml_is_judged_too()
    {
        Assert.True(IsValid(await JudgeAsync("/Patient/$validate", """<Patient xmlns="http://hl7.org/fhir"><active value="true"/></Patient>""", Xml)));
    }

    [Theory]
    [InlineData(false)]
    [InlineData(true)]
    public async Task A_profile_can_be_named(bool inParameters)
    {
        var body = """{"resourceType":"Procedure","status":"completed","subject":{"display":"somebody"}}""";
        Assert.True(IsValid(await JudgeAsync("/Procedure/$validate", body)));
        var outcome = inParameters
            ? await JudgeAsync("/Procedure/$validate", Wrapped(body, Session))
            : await JudgeAsync("/Procedure/$validate?profile=" + Uri.EscapeDataString(Session), body);
        Assert.False(IsValid(outcome));
    }

    [Fact]
    public async Task A_profile_that_is_not_known_cannot_be_judged_by()
    {
        using var response = await app.SendAsync("POST", "/Patient/$validate", Wrapped(Person(), "https://elsewhere.test/StructureDefinition/unheard"));
        await response.RefusedAsync(422, "https://elsewhere.test/StructureDefinition/unheard");
    }

    [Fact]
    public async Task Modes_are_those_of_the_standard()
    {
        var id = await app.CreateAsync(Person());
        Assert.True(IsValid(await JudgeAsync("/Patient/$validate", Wrapped(Person(), mode: "create"))));
        Assert.True(IsValid(await JudgeAsync($"/Patient/{id}/$validate", Wrapped(Person(id: id), mode: "update"))));
        Assert.False(IsValid(await JudgeAsync($"/Patient/{id}/$validate", Wrapped(Person(id: "other"), mode: "update"))));
        Assert.True(IsValid(await JudgeAsync($"/Patient/{id}/$validate", Wrapped(null, mode: "delete"))));
        Assert.True(IsValid(await JudgeAsync($"/Patient/{id}/$validate?mode=delete", "")));
        Assert.True(IsValid(await JudgeAsync($"/Patient/{id}/$validate", Wrapped(null, "http://hl7.org/fhir/StructureDefinition/Patient", "profile"))));
    }

    [Fact]
    public async Task A_mode_tells_what_the_write_itself_would_be_refused_for()
    {
        var id = await app.CreateAsync(Person(identifier: "mode-1"));
        var observation = await app.CreateAsync(Weight($"Patient/{id}"));

        // An identifier that another holds; a target that is not there; a stale version; a resource that others refer to.
        Refused(await JudgeAsync("/Patient/$validate", Wrapped(Person(identifier: "mode-1"), mode: "create")), OperationOutcome.IssueType.Duplicate, "Patient.identifier");
        Refused(await JudgeAsync("/$validate", Wrapped(Weight("Patient/nobody"), mode: "create")), OperationOutcome.IssueType.NotFound, "Observation.subject");
        Refused(await JudgeAsync($"/Observation/{observation}/$validate",
            Wrapped(Weight($"Patient/{id}", observation).Replace("\"status\"", "\"meta\":{\"versionId\":\"7\"},\"status\"", StringComparison.Ordinal), mode: "update")), OperationOutcome.IssueType.Conflict, "");
        Refused(await JudgeAsync($"/Patient/{id}/$validate", Wrapped(null, mode: "delete")), OperationOutcome.IssueType.Conflict, "Patient");
        Refused(await JudgeAsync("/AuditEvent/$validate", Wrapped("""
            {"resourceType":"AuditEvent","type":{"code":"rest","system":"http://terminology.hl7.org/CodeSystem/audit-event-type"},"recorded":"2026-01-01T00:00:00Z",
            "agent":[{"requestor":true}],"source":{"observer":{"display":"x"}}}
            """, mode: "create")), OperationOutcome.IssueType.NotSupported, "AuditEvent");
        // Without a mode only what the resource says is looked at.
        Assert.True(IsValid(await JudgeAsync("/Patient/$validate", Person(identifier: "mode-1"))));
        Assert.True(IsValid(await JudgeAsync("/Observation/$validate", Weight("Patient/nobody"))));

        static void Refused(OperationOutcome outcome, OperationOutcome.IssueType code, string at) => Assert.Contains(
            outcome.Issue, i => i.Severity == OperationOutcome.IssueSeverity.Error && i.Code == code && (i.Expression.FirstOrDefault() ?? "").StartsWith(at, StringComparison.Ordinal));
    }

    [Theory]
    [InlineData("/Patient/$validate", "update", 400)]
    [InlineData("/Patient/$validate", "delete", 400)]
    [InlineData("/Patient/nobody/$validate", "delete", 404)]
    [InlineData("/Patient/$validate", "destroy", 400)]
    [InlineData("/Patient/nobody/$validate", "profile", 400)]
    [InlineData("/Patient/nobody/$validate", "update", 404)]
    public async Task A_mode_that_does_not_fit_is_refused(string path, string mode, int status)
    {
        using var response = await app.SendAsync("POST", path, Wrapped(Person(), mode: mode));
        await response.RefusedAsync(status);
    }

    [Theory]
    [InlineData("/Patient/$validate", "{", 400)]
    [InlineData("/Patient/$validate", "", 400)]
    [InlineData("/Observation/$validate", """{"resourceType":"Patient","active":true}""", 400)]
    [InlineData("/Patient/$validate", """{"resourceType":"Parameters","parameter":[{"name":"mode","valueCode":"create"}]}""", 400)]
    [InlineData("/Patient/$validate", """{"resourceType":"Parameters","parameter":[{"name":"resuorce","valueString":"x"}]}""", 400)]
    public async Task What_cannot_be_judged_is_refused(string path, string body, int status)
    {
        using var response = await app.SendAsync("POST", path, body);
        await response.RefusedAsync(status);
    }
}
