using System.Net;
using System.Text.Json.Nodes;
using RehabRecords.Tests.Rest;

namespace RehabRecords.Tests.Access;

/// <summary>What a token does not cover is not reached, by whatever way it is asked for.</summary>
public sealed class ScopeTests(AccessApp app) : IClassFixture<AccessApp>, IAsyncLifetime
{
    private HttpClient _all = null!;
    private HttpClient _narrow = null!;
    private string _person = "";
    private string _observation = "";

    public async Task InitializeAsync()
    {
        _all = await app.AsAsync(app.Hill);
        _narrow = await app.AsAsync(app.Narrow);
        _person = (string)(await _all.ExpectAsync(HttpStatusCode.Created, "POST", "/fhir/Patient", FhirCalls.Person("Scopely")))["id"]!;
        _observation = (string)(await _all.ExpectAsync(HttpStatusCode.Created, "POST", "/fhir/Observation", FhirCalls.Weight($"Patient/{_person}")))["id"]!;
    }

    public Task DisposeAsync()
    {
        _all.Dispose();
        _narrow.Dispose();
        return Task.CompletedTask;
    }

    [Fact]
    public async Task What_the_scope_covers_is_answered()
    {
        await _narrow.ExpectAsync(HttpStatusCode.OK, "GET", $"/fhir/Observation/{_observation}");
        await _narrow.ExpectAsync(HttpStatusCode.OK, "GET", $"/fhir/Observation/{_observation}/_history");
        var found = await _narrow.ExpectAsync(HttpStatusCode.OK, "GET", $"/fhir/Observation?subject=Patient/{_person}");
        Assert.Equal(1, (int)found["total"]!);
        await _narrow.ExpectAsync(HttpStatusCode.OK, "GET", $"/fhir/Patient/{_person}/Observation");
    }

    [Theory]
    [InlineData("GET", "/fhir/Patient/{person}", "system/Patient.r")]
    [InlineData("GET", "/fhir/Patient/{person}/_history", "system/Patient.r")]
    [InlineData("GET", "/fhir/Patient/{person}/_history/1", "system/Patient.r")]
    [InlineData("GET", "/fhir/Patient", "system/Patient.s")]
    [InlineData("GET", "/fhir/Patient/_history", "system/Patient.s")]
    [InlineData("GET", "/fhir/_history", "system/*.s")]
    [InlineData("GET", "/fhir?_type=Patient", "system/Patient.s")]
    [InlineData("GET", "/fhir/Observation?patient.name=Scopely", "system/Patient.s")]
    [InlineData("GET", "/fhir/Observation?_has:Provenance:target:recorded=gt2020", "system/Provenance.s")]
    [InlineData("GET", "/fhir/Patient/{person}/Flag", "system/Flag.s")]
    [InlineData("GET", "/fhir/Patient/{person}/$everything", "system/Patient.r")]
    [InlineData("GET", "/fhir/Composition/x/$document", "system/*.r")]
    [InlineData("GET", "/fhir/$export", "system/Patient.r")]
    [InlineData("GET", "/fhir/CarePlan/x/$hand-over?recipient=x", "system/*.r")]
    [InlineData("POST", "/fhir/$take-in", "system/*.r")]
    [InlineData("POST", "/fhir/Observation", "system/Observation.c")]
    [InlineData("PUT", "/fhir/Observation/{observation}", "system/Observation.u")]
    [InlineData("PATCH", "/fhir/Observation/{observation}", "system/Observation.u")]
    [InlineData("DELETE", "/fhir/Observation/{observation}", "system/Observation.d")]
    [InlineData("GET", "/api/people", "api/read-record")]
    [InlineData("POST", "/api/sessions", "api/record-session")]
    [InlineData("GET", "/api/people/{person}/record", "api/export-record")]
    public async Task What_it_does_not_cover_is_refused_and_the_missing_scope_is_named(string method, string path, string scope)
    {
        var body = method switch
        {
            "POST" when path.EndsWith("Observation", StringComparison.Ordinal) => FhirCalls.Weight($"Patient/{_person}"),
            "PUT" => FhirCalls.Weight($"Patient/{_person}", _observation),
            "PATCH" => """{"resourceType":"Parameters","parameter":[{"name":"operation","part":[{"name":"type","valueCode":"delete"},{"name":"path","valueString":"Observation.code"}]}]}""",
            "POST" => "{}",
            _ => null,
        };
        var refused = await _narrow.ExpectAsync(HttpStatusCode.Forbidden, method, path.Replace("{person}", _person).Replace("{observation}", _observation), body, ("If-Match", "W/\"1\""), ("Prefer", "respond-async"));
        Assert.Contains(scope, refused.Said());
    }

    [Fact]
    public async Task What_would_be_sent_along_is_left_out()
    {
        var found = await _narrow.ExpectAsync(HttpStatusCode.OK, "GET", $"/fhir/Observation?subject=Patient/{_person}&_include=Observation:subject&_include=*");
        Assert.DoesNotContain("Scopely", found.ToJsonString());
        var everything = await _all.ExpectAsync(HttpStatusCode.OK, "GET", $"/fhir/Observation?subject=Patient/{_person}&_include=Observation:subject");
        Assert.Contains("Scopely", everything.ToJsonString());
    }

    [Fact]
    public async Task A_search_over_all_types_and_everything_of_a_person_give_what_is_covered()
    {
        var across = await _narrow.ExpectAsync(HttpStatusCode.OK, "GET", "/fhir?_lastUpdated=gt2020-01-01&_count=1000");
        Assert.All(across["entry"]!.AsArray(), e => Assert.Equal("Observation", (string)e!["resource"]!["resourceType"]!));
        var both = new TestClient("hill-two-types", "hill", "system", ["system/Patient.r", "system/Observation.rs"]);
        app.Register(both);
        await Task.Delay(2100);
        using var http = await app.AsAsync(both);
        var everything = await http.ExpectAsync(HttpStatusCode.OK, "GET", $"/fhir/Patient/{_person}/$everything");
        Assert.Equal(["Observation", "Patient"], everything["entry"]!.AsArray().Select(e => (string)e!["resource"]!["resourceType"]!).Distinct().Order());
        await http.ExpectAsync(HttpStatusCode.Forbidden, "GET", "/fhir/Patient");
    }

    [Fact]
    public async Task Every_entry_of_a_batch_is_looked_at_and_a_transaction_with_one_that_is_not_covered_is_refused_whole()
    {
        var mixed = new[]
        {
            FhirCalls.Entry("GET", $"Observation/{_observation}"),
            FhirCalls.Entry("GET", $"Patient/{_person}"),
            FhirCalls.Entry("GET", "Patient?name=Scopely"),
            FhirCalls.Entry("GET", $"Patient/{_person}/_history"),
            FhirCalls.Entry("POST", "Observation", FhirCalls.Weight($"Patient/{_person}")),
            FhirCalls.Entry("DELETE", $"Observation/{_observation}", ifMatch: "W/\"1\""),
            FhirCalls.Entry("GET", "_history"),
        };
        var batch = await _narrow.ExpectAsync(HttpStatusCode.OK, "POST", "/fhir", FhirCalls.Bundle("batch", [.. mixed.Select(e => (JsonObject)e.DeepClone())]).ToJsonString());
        Assert.Equal(["200 OK", .. Enumerable.Repeat("403 Forbidden", 6)], batch["entry"]!.AsArray().Select(e => (string)e!["response"]!["status"]!));
        Assert.DoesNotContain("Scopely", batch.ToJsonString());
        var before = await app.StoreOf("hill").ChangesAfterAsync(0, ["Observation"], 10_000);
        var refused = await _narrow.ExpectAsync(HttpStatusCode.Forbidden, "POST", "/fhir", FhirCalls.Bundle("transaction", FhirCalls.Entry("GET", $"Observation/{_observation}"), FhirCalls.Entry("POST", "Observation", FhirCalls.Weight($"Patient/{_person}"))).ToJsonString());
        Assert.Contains("system/Observation.c", refused.Said());
        Assert.Equal(before.Count, (await app.StoreOf("hill").ChangesAfterAsync(0, ["Observation"], 10_000)).Count);
    }

    [Fact]
    public async Task A_reader_may_not_write_and_conditions_ask_for_search()
    {
        using var reader = await app.AsAsync(app.Reader);
        await reader.ExpectAsync(HttpStatusCode.OK, "GET", "/fhir/Patient");
        await reader.ExpectAsync(HttpStatusCode.OK, "GET", "/api/people");
        await reader.ExpectAsync(HttpStatusCode.Forbidden, "POST", "/fhir/Patient", FhirCalls.Person());
        await reader.ExpectAsync(HttpStatusCode.Forbidden, "GET", "/fhir/AuditEvent");
        using var creator = await app.AsAsync(app.Hill, "system/Patient.c");
        await creator.ExpectAsync(HttpStatusCode.Created, "POST", "/fhir/Patient", FhirCalls.Person("Creatable", "creatable-1"));
        var refused = await creator.ExpectAsync(HttpStatusCode.Forbidden, "POST", "/fhir/Patient", FhirCalls.Person("Creatable", "creatable-1"), ("If-None-Exist", $"identifier={FhirCalls.IdSystem}|creatable-1"));
        Assert.Contains("system/Patient.s", refused.Said());
        using var updater = await app.AsAsync(app.Hill, "system/Patient.u");
        Assert.Contains("system/Patient.c", (await updater.ExpectAsync(HttpStatusCode.Forbidden, "PUT", "/fhir/Patient/made-by-update", FhirCalls.Person("Upsertable", id: "made-by-update"))).Said());
    }
}
