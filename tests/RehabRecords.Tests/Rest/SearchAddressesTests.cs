using System.Net;
using Hl7.Fhir.Model;
using static RehabRecords.Tests.Rest.FhirCalls;

namespace RehabRecords.Tests.Rest;

public sealed class SearchAddressesTests(TestApp app) : IClassFixture<TestApp>
{
    [Fact]
    public async Task Links_lead_to_the_first_the_previous_and_the_next_page()
    {
        for (var i = 0; i < 5; i++)
            await app.CreateAsync(Person($"Walking{i}"));
        var first = await FoundAsync("/Patient?family=Walking&_sort=-family&_count=2");
        Assert.Equal(["self", "next"], first.Link.Select(l => l.Relation));
        var second = await FoundAsync(Within(first.NextLink));
        Assert.Equal(["self", "first", "previous", "next"], second.Link.Select(l => l.Relation));
        Assert.Equal(["Walking2", "Walking1"], Families(second));
        Assert.Equal(["Walking4", "Walking3"], Families(await FoundAsync(Within(second.FirstLink))));
        Assert.Equal(["Walking4", "Walking3"], Families(await FoundAsync(Within(second.PreviousLink))));
        var last = await FoundAsync(Within(second.NextLink));
        Assert.Null(last.NextLink);
        Assert.Equal(["Walking2", "Walking1"], Families(await FoundAsync(Within(last.PreviousLink))));
        Assert.Equal(Families(second), Families(await FoundAsync(Within(second.SelfLink))));
    }

    [Fact]
    public async Task The_record_of_a_person_is_searched_at_their_address()
    {
        var person = await app.CreateAsync(Person("Compartment"));
        var other = await app.CreateAsync(Person("Elsewhere"));
        var mine = await app.CreateAsync(Weight($"Patient/{person}"));
        await app.CreateAsync(Weight($"Patient/{other}"));

        var found = await FoundAsync($"/Patient/{person}/Observation?status=final");
        Assert.Equal(mine, Assert.Single(found.Entry).Resource!.Id);
        Assert.Equal($"{TestApp.FhirBase}/Patient/{person}/Observation?status=final", found.SelfLink!.ToString());
        Assert.Equal(["Observation", "Patient"], (await FoundAsync($"/Patient/{person}/*")).Entry.Select(e => e.Resource!.TypeName).Order());
        Assert.Equal(mine, Assert.Single((await FoundAsync($"/Observation?subject={Uri.EscapeDataString($"{TestApp.FhirBase}/Patient/{person}")}")).Entry).Resource!.Id);

        using var history = await app.SendAsync("GET", $"/Patient/{person}/_history");
        Assert.Equal(Hl7.Fhir.Model.Bundle.BundleType.History, (await history.FhirAsync<Bundle>()).Type);
        foreach (var path in new[] { $"/Patient/{person}/Organization", $"/Patient/{person}/Nonsense" })
        {
            using var refused = await app.SendAsync("GET", path);
            await refused.RefusedAsync(404, "not part of a person's record");
        }
    }

    [Fact]
    public async Task Several_types_are_searched_at_the_base()
    {
        var person = await app.CreateAsync(Person("Across"));
        var result = await app.CreateAsync(Weight($"Patient/{person}"));
        var found = await FoundAsync($"?_type=Observation,Procedure&patient=Patient/{person}&_total=accurate");
        Assert.Equal((1, result), (found.Total, Assert.Single(found.Entry).Resource!.Id));
        using var posted = await app.SendAsync("POST", "/_search", $"_type=Observation,Patient&_id={person},{result}", "application/x-www-form-urlencoded");
        Assert.Equal(2, (await posted.FhirAsync<Bundle>()).Entry.Count);
        using var all = await app.SendAsync("GET", "");
        await all.RefusedAsync(400, "_type");
    }

    [Theory]
    [InlineData("value-quantity=12500|http://unitsofmeasure.org|g", 1)]
    [InlineData("value-quantity=gt12501|http://unitsofmeasure.org|g", 0)]
    [InlineData("patient.family=unitsofperson", 1)]
    [InlineData("patient:Patient.given=ada&patient.family=unitsofperson", 1)]
    [InlineData("patient.family=nobodyofthatname", 0)]
    public async Task Units_and_references_are_followed_over_HTTP(string query, int matches)
    {
        var person = await app.CreateAsync(Person("Unitsofperson"));
        var result = await app.CreateAsync(Weight($"Patient/{person}"));
        var found = await FoundAsync($"/Observation?_id={result}&{query.Replace("|", "%7C", StringComparison.Ordinal)}");
        Assert.Equal(matches, found.Entry.Count);
        Assert.Equal(matches, (await FoundAsync($"/Patient?_id={person}&_has:Observation:patient:{(query.Contains("patient", StringComparison.Ordinal) ? "status=" + (matches == 1 ? "final" : "amended") : query.Replace("|", "%7C", StringComparison.Ordinal))}")).Entry.Count);
    }

    private async Task<Bundle> FoundAsync(string path)
    {
        using var response = await app.SendAsync("GET", path);
        Assert.Equal(HttpStatusCode.OK, response.StatusCode);
        return await response.FhirAsync<Bundle>();
    }

    private static string Within(Uri? link) => link!.ToString()[TestApp.FhirBase.Length..];

    private static IEnumerable<string> Families(Bundle bundle) => bundle.Entry.Select(e => ((Patient)e.Resource!).Name[0].Family!);
}
