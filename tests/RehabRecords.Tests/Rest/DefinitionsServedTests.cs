using System.Net;
using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Definitions;

namespace RehabRecords.Tests.Rest;

/// <summary>Definitions as others read them: ours and R4's.</summary>
public sealed class DefinitionsServedTests(TestApp app) : IClassFixture<TestApp>
{
    private const string Ours = "https://rehabrecords.example/fhir";

    private async Task<Bundle> SearchAsync(string query)
    {
        using var response = await app.SendAsync("GET", query);
        Assert.True(response.StatusCode == HttpStatusCode.OK, response.Text());
        return await response.FhirAsync<Bundle>();
    }

    // R4 itself puts structuredefinition-fhir-type on ElementDefinition.type and defines it for ElementDefinition.type.code.
    private static IEnumerable<Issue> Faults(Resource definition) => TestApp.SharedValidator.Validate(definition)
        .Where(i => i.Refuses && i.Profile != "http://hl7.org/fhir/StructureDefinition/structuredefinition-fhir-type");

    [Theory]
    [InlineData("StructureDefinition", "Patient", "http://hl7.org/fhir/StructureDefinition/Patient")]
    [InlineData("StructureDefinition", "programme", $"{Ours}/StructureDefinition/programme")]
    [InlineData("ValueSet", "administrative-gender", "http://hl7.org/fhir/ValueSet/administrative-gender")]
    [InlineData("CodeSystem", "quality", $"{Ours}/CodeSystem/quality")]
    [InlineData("SearchParameter", "Patient-active", "http://hl7.org/fhir/SearchParameter/Patient-active")]
    [InlineData("OperationDefinition", "Patient-everything", "http://hl7.org/fhir/OperationDefinition/Patient-everything")]
    [InlineData("CompartmentDefinition", "patient", "http://hl7.org/fhir/CompartmentDefinition/patient")]
    [InlineData("ConceptMap", "101", "http://hl7.org/fhir/ConceptMap/101")]
    [InlineData("CapabilityStatement", "base", "http://hl7.org/fhir/CapabilityStatement/base")]
    public async Task A_definition_is_read_by_its_id_in_both_formats(string type, string id, string url)
    {
        using var json = await app.SendAsync("GET", $"/{type}/{id}", null, FhirCalls.Json, ("Accept", FhirCalls.Json));
        Assert.Equal(url, ((IConformanceResource)await json.FhirAsync<Resource>()).Url);
        using var xml = await app.SendAsync("GET", $"/{type}/{id}", null, FhirCalls.Json, ("Accept", FhirCalls.Xml));
        var resource = await xml.FhirAsync<Resource>();
        Assert.Equal((type, id), (resource.TypeName, resource.Id));
    }

    [Fact]
    public async Task A_naming_system_has_no_address_and_is_read_by_its_id()
    {
        var found = await SearchAsync("/NamingSystem?value=http://hl7.org/fhir/sid/us-ssn");
        Assert.All(found.Entry, e => Assert.Contains(((NamingSystem)e.Resource!).UniqueId, u => u.Value == "http://hl7.org/fhir/sid/us-ssn"));
        Assert.NotEmpty(found.Entry);
        using var one = await app.SendAsync("GET", $"/NamingSystem/{found.Entry[0].Resource!.Id}");
        Assert.Equal(found.Entry[0].Resource!.Id, (await one.FhirAsync<NamingSystem>()).Id);
    }

    [Fact]
    public async Task A_base_type_is_served_whole_with_the_words_that_the_validators_pack_leaves_out()
    {
        using var response = await app.SendAsync("GET", "/StructureDefinition/Patient");
        var patient = await response.FhirAsync<StructureDefinition>();
        Assert.All(patient.Snapshot!.Element, e => Assert.False(string.IsNullOrEmpty(e.Definition), e.Path));
        Assert.NotEmpty(patient.Differential!.Element);
        Assert.All(Faults(patient), issue => Assert.Fail($"{issue.Expression}: {issue.Message}"));
    }

    [Fact]
    public async Task Our_own_profile_is_served_with_its_snapshot_and_is_valid()
    {
        using var response = await app.SendAsync("GET", "/StructureDefinition/exercise-result");
        var profile = await response.FhirAsync<StructureDefinition>();
        Assert.True(profile.HasSnapshot);
        Assert.All(Faults(profile), issue => Assert.Fail($"{issue.Expression}: {issue.Message}"));
    }

    [Theory]
    [InlineData($"/StructureDefinition?url={Ours}/StructureDefinition/programme", "programme")]
    [InlineData($"/StructureDefinition?url:below={Ours}&name=Programme&title:contains=template", "programme-template")]
    [InlineData("/StructureDefinition?_id=Observation", "Observation")]
    [InlineData("/StructureDefinition?type=Flag&derivation=specialization", "Flag")]
    [InlineData("/StructureDefinition?type=Bundle&publisher=RehabRecords&version=0.1.0&status=active", "progress-note-document")]
    [InlineData($"/ValueSet?reference={Ours}/CodeSystem/quality", "quality")]
    [InlineData("/CodeSystem?system=http://hl7.org/fhir/administrative-gender", "administrative-gender")]
    [InlineData("/SearchParameter?base=Task&code=business-status", "Task-business-status")]
    [InlineData("/OperationDefinition?code=everything&base:missing=true&name:exact=Fetch Patient Record", "Patient-everything")]
    [InlineData("/CompartmentDefinition?code=Patient", "patient")]
    [InlineData("/ConceptMap?source=http://hl7.org/fhir/ValueSet/address-use", "cm-address-use-v2")]
    public async Task A_definition_is_found_by_what_R4_finds_it_by(string query, string id)
    {
        var found = await SearchAsync(query);
        Assert.Contains(id, found.Entry.Select(e => e.Resource!.Id));
        Assert.Equal(found.Total, (await SearchAsync(query + (query.Contains("_count") ? "" : "&_summary=count"))).Total);
    }

    [Fact]
    public async Task Every_definition_under_profiles_is_served()
    {
        foreach (var entry in app.Service<DefinitionsPack>().Entries.Where(e => e.Own))
            Assert.Equal(1, (await SearchAsync($"/{entry.Type}?url={entry.Url}&_summary=count")).Total);
    }

    [Fact]
    public async Task Pages_follow_each_other_without_loss_or_repetition()
    {
        var seen = new List<string>();
        var pages = 0;
        for (var next = "/SearchParameter?base=Observation&_count=7&_sort=-code"; next is not null; pages++)
        {
            var page = await SearchAsync(next);
            seen.AddRange(page.Entry.Select(e => ((SearchParameter)e.Resource!).Code!));
            Assert.True(pages < 30);
            next = page.NextLink?.ToString()[TestApp.FhirBase.Length..];
        }

        Assert.True(pages > 3);
        Assert.Equal(seen.OrderDescending(StringComparer.Ordinal), seen);
        Assert.Equal((await SearchAsync("/SearchParameter?base=Observation&_summary=count")).Total, seen.Count);
    }

    [Theory]
    [InlineData("/StructureDefinition?colour=red", "colour")]
    [InlineData("/StructureDefinition?url:above=http://x", "url:above")]
    [InlineData("/ValueSet?date=yesterday", "yesterday")]
    [InlineData("/ValueSet?_count=many", "many")]
    public async Task What_is_not_offered_is_refused(string query, string says)
    {
        using var response = await app.SendAsync("GET", query);
        await response.RefusedAsync(400, says);
    }

    [Fact]
    public async Task A_definition_cannot_be_changed()
    {
        using var put = await app.SendAsync("PUT", "/StructureDefinition/Patient", """{"resourceType":"StructureDefinition","id":"Patient"}""");
        await put.RefusedAsync(405);
        using var none = await app.SendAsync("GET", "/StructureDefinition/no-such-thing");
        await none.RefusedAsync(404, "no-such-thing");
    }

    [Fact]
    public async Task A_search_by_post_is_the_same_search()
    {
        using var response = await app.SendAsync("POST", "/CodeSystem/_search", $"url={Uri.EscapeDataString(Ours)}%2FCodeSystem%2Fquality", "application/x-www-form-urlencoded");
        Assert.Equal("quality", Assert.Single((await response.FhirAsync<Bundle>()).Entry).Resource!.Id);
    }
}
