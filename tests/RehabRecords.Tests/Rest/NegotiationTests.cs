using System.Net;
using System.Xml.Linq;
using Hl7.Fhir.Model;
using static RehabRecords.Tests.Rest.FhirCalls;

namespace RehabRecords.Tests.Rest;

public sealed class NegotiationTests(TestApp app) : IClassFixture<TestApp>
{
    [Theory]
    [InlineData(null, "application/fhir+json")]
    [InlineData("*/*", "application/fhir+json")]
    [InlineData("application/*", "application/fhir+json")]
    [InlineData("application/fhir+json", "application/fhir+json")]
    [InlineData("application/json", "application/json")]
    [InlineData("text/json", "text/json")]
    [InlineData("application/fhir+xml", "application/fhir+xml")]
    [InlineData("application/xml", "application/xml")]
    [InlineData("text/xml", "text/xml")]
    [InlineData("APPLICATION/FHIR+XML", "application/fhir+xml")]
    [InlineData("application/fhir+json;q=0.2, application/fhir+xml;q=0.9", "application/fhir+xml")]
    [InlineData("text/html, application/fhir+xml;q=0.5, */*;q=0.1", "application/fhir+xml")]
    [InlineData("text/html, */*;q=0.1", "application/fhir+json")]
    [InlineData("application/fhir+json; fhirVersion=4.0", "application/fhir+json")]
    [InlineData("application/fhir+json; fhirVersion=3.0, application/fhir+xml; fhirVersion=4.0", "application/fhir+xml")]
    public async Task The_answer_is_in_the_type_that_is_accepted(string? accept, string expected)
    {
        var id = await app.CreateAsync(Person());
        using var response = await app.SendAsync("GET", $"/Patient/{id}", null, Json, accept is null ? [] : [("Accept", accept)]);
        Assert.Equal(HttpStatusCode.OK, response.StatusCode);
        Assert.Equal(expected, response.Content.Headers.ContentType!.MediaType);
        Assert.Equal("utf-8", response.Content.Headers.ContentType.CharSet);
        Assert.Equal(id, (await response.FhirAsync<Patient>()).Id);
    }

    [Theory]
    [InlineData("xml", "application/fhir+xml")]
    [InlineData("text/xml", "application/fhir+xml")]
    [InlineData("application/xml", "application/fhir+xml")]
    [InlineData("application/fhir+xml", "application/fhir+xml")]
    [InlineData("application/fhir%2Bxml", "application/fhir+xml")]
    [InlineData("json", "application/fhir+json")]
    [InlineData("application/json", "application/fhir+json")]
    [InlineData("application/fhir+json", "application/fhir+json")]
    public async Task The_format_parameter_wins_over_the_header(string format, string expected)
    {
        var id = await app.CreateAsync(Person());
        using var response = await app.SendAsync("GET", $"/Patient/{id}?_format={format}", null, Json, ("Accept", "text/html"));
        Assert.Equal(expected, response.Content.Headers.ContentType!.MediaType);
        Assert.Equal(id, (await response.FhirAsync<Patient>()).Id);
    }

    [Theory]
    [InlineData("", "text/html")]
    [InlineData("", "application/pdf;q=1, application/fhir+json;q=0")]
    [InlineData("", "application/fhir+json; fhirVersion=5.0")]
    [InlineData("", "not a type")]
    [InlineData("?_format=turtle", "*/*")]
    [InlineData("?_format=html", "application/fhir+json")]
    public async Task A_type_that_is_not_written_is_refused_before_anything_is_stored(string query, string accept)
    {
        var before = app.State();
        using var response = await app.SendAsync("POST", "/Patient" + query, Person(), Json, ("Accept", accept));
        await response.RefusedAsync(406);
        Assert.Equal(before, app.State());
    }

    [Theory]
    [InlineData("text/plain")]
    [InlineData("application/x-www-form-urlencoded")]
    [InlineData("application/fhir+turtle")]
    [InlineData("application/fhir+json; charset=iso-8859-1")]
    [InlineData("application/fhir+json; fhirVersion=3.0")]
    [InlineData("nonsense")]
    public async Task A_body_of_a_type_that_is_not_read_is_refused(string type)
    {
        var before = app.State();
        using var response = await app.SendAsync("POST", "/Patient", Person(), type);
        await response.RefusedAsync(415);
        Assert.Equal(before, app.State());
    }

    [Fact]
    public async Task A_compressed_body_is_refused()
    {
        using var response = await app.SendAsync("POST", "/Patient", Person(), Json, ("Content-Encoding", "gzip"));
        await response.RefusedAsync(415, "uncompressed");
    }

    [Theory]
    [InlineData("application/fhir+json")]
    [InlineData("application/json")]
    [InlineData("application/fhir+json; charset=UTF-8")]
    [InlineData("application/fhir+json; fhirVersion=4.0")]
    public async Task Json_is_read_by_any_of_its_names(string type)
    {
        using var response = await app.SendAsync("POST", "/Patient", Person(), type);
        Assert.Equal(HttpStatusCode.Created, response.StatusCode);
    }

    [Theory]
    [InlineData("application/fhir+xml")]
    [InlineData("application/xml")]
    [InlineData("text/xml")]
    public async Task Xml_is_read_and_kept_as_the_same_resource(string type)
    {
        const string body = """<Patient xmlns="http://hl7.org/fhir"><name><family value="Weaver"/></name><birthDate value="1950"/></Patient>""";
        using var response = await app.SendAsync("POST", "/Patient", body, type, ("Accept", "application/fhir+xml"));
        Assert.Equal(HttpStatusCode.Created, response.StatusCode);
        var xml = XDocument.Parse(response.Text());
        XNamespace fhir = "http://hl7.org/fhir";
        Assert.Equal(fhir + "Patient", xml.Root!.Name);
        var id = xml.Root.Element(fhir + "id")!.Attribute("value")!.Value;
        var stored = await app.GetAsync($"/fhir/Patient/{id}");
        Assert.Equal("Weaver", stored["name"]![0]!["family"]!.ToString());
    }

    [Theory]
    [InlineData("GET", "/Patient/nobody", 404)]
    [InlineData("GET", "/Nothing", 404)]
    [InlineData("GET", "/Patient?unheard=1", 400)]
    [InlineData("PATCH", "/AuditEvent/1", 405)]
    [InlineData("PATCH", "/Patient/1", 415)]
    public async Task Errors_come_in_the_format_of_the_answer_too(string method, string path, int status)
    {
        using var response = await app.SendAsync(method, path, null, Json, ("Accept", "application/fhir+xml"));
        Assert.Equal("application/fhir+xml", response.Content.Headers.ContentType!.MediaType);
        await response.RefusedAsync(status);
    }

    [Fact]
    public async Task Pretty_is_for_people_and_changes_nothing_else()
    {
        var id = await app.CreateAsync(Person());
        var plain = await app.Http.GetStringAsync($"/fhir/Patient/{id}");
        var pretty = await app.Http.GetStringAsync($"/fhir/Patient/{id}?_pretty=true");
        Assert.DoesNotContain('\n', plain);
        Assert.Contains("\n  \"name\"", pretty, StringComparison.Ordinal);
        Assert.True(System.Text.Json.Nodes.JsonNode.DeepEquals(System.Text.Json.Nodes.JsonNode.Parse(plain), System.Text.Json.Nodes.JsonNode.Parse(pretty)));
    }
}
