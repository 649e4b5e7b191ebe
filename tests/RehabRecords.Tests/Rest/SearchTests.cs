using System.Net;
using Hl7.Fhir.Model;
using static RehabRecords.Tests.Rest.FhirCalls;

namespace RehabRecords.Tests.Rest;

public sealed class SearchTests(TestApp app) : IClassFixture<TestApp>
{
    [Fact]
    public async Task A_search_answers_a_searchset_with_a_self_link_of_what_was_used()
    {
        var id = await app.CreateAsync(Person("Selflink"));
        using var response = await app.SendAsync("GET", "/Patient?family=Selflink&active=");
        Assert.Equal(HttpStatusCode.OK, response.StatusCode);
        var bundle = await response.FhirAsync<Bundle>();
        Assert.Equal(Hl7.Fhir.Model.Bundle.BundleType.Searchset, bundle.Type);
        Assert.Equal(1, bundle.Total);
        Assert.Equal($"{TestApp.FhirBase}/Patient?family=Selflink", bundle.SelfLink!.ToString());
        Assert.Equal($"{TestApp.FhirBase}/Patient/{id}", bundle.Entry.Single().FullUrl);
        Assert.Equal(Hl7.Fhir.Model.Bundle.SearchEntryMode.Match, bundle.Entry[0].Search!.Mode);
        Assert.All(TestApp.SharedValidator.Validate(bundle), issue => Assert.False(issue.Refuses, issue.Message));
    }

    [Fact]
    public async Task The_same_search_may_be_posted()
    {
        var id = await app.CreateAsync(Person("Postedsearch"));
        using var response = await app.SendAsync("POST", "/Patient/_search?_count=5", "family=Postedsearch&birthdate=1950-04-03", "application/x-www-form-urlencoded");
        var bundle = await response.FhirAsync<Bundle>();
        Assert.Equal(id, bundle.Entry.Single().Resource!.Id);
        Assert.Equal($"{TestApp.FhirBase}/Patient?_count=5&family=Postedsearch&birthdate=1950-04-03", bundle.SelfLink!.ToString());
    }

    [Theory]
    [InlineData("application/fhir+json")]
    [InlineData("multipart/form-data; boundary=x")]
    public async Task A_posted_search_is_a_form(string type)
    {
        using var response = await app.SendAsync("POST", "/Patient/_search", "family=x", type);
        await response.RefusedAsync(415);
    }

    [Fact]
    public async Task Pages_follow_each_other_without_loss_or_repetition()
    {
        for (var i = 0; i < 7; i++)
            await app.CreateAsync(Person($"Paging{i}"));
        var seen = new List<string>();
        var next = "/Patient?family=Paging&_count=3";
        for (var pages = 0; next is not null && pages < 5; pages++)
        {
            using var response = await app.SendAsync("GET", next);
            var bundle = await response.FhirAsync<Bundle>();
            Assert.True(bundle.Entry.Count <= 3);
            seen.AddRange(bundle.Entry.Select(e => ((Patient)e.Resource!).Name[0].Family!));
            next = bundle.NextLink?.ToString()[TestApp.FhirBase.Length..];
        }
        Assert.Equal(Enumerable.Range(0, 7).Select(i => $"Paging{i}"), seen.Order());
    }

    [Fact]
    public async Task Nothing_found_is_an_answer()
    {
        using var response = await app.SendAsync("GET", "/Patient?family=Nobodyatall");
        var bundle = await response.FhirAsync<Bundle>();
        Assert.Equal(0, bundle.Total);
        Assert.Empty(bundle.Entry);
    }

    [Fact]
    public async Task Included_resources_are_marked_as_such()
    {
        var person = await app.CreateAsync(Person("Included"));
        await app.CreateAsync(Weight($"Patient/{person}"));
        using var response = await app.SendAsync("GET", $"/Observation?subject=Patient/{person}&_include=Observation:subject");
        var bundle = await response.FhirAsync<Bundle>();
        Assert.Equal(1, bundle.Total);
        Assert.Equal(["Observation match", "Patient include"], bundle.Entry.Select(e => $"{e.Resource!.TypeName} {e.Search!.Mode.ToString()!.ToLowerInvariant()}"));
    }

    [Fact]
    public async Task A_count_without_resources_can_be_asked_for()
    {
        await app.CreateAsync(Person("Counted"));
        using var response = await app.SendAsync("GET", "/Patient?family=Counted&_summary=count");
        var bundle = await response.FhirAsync<Bundle>();
        Assert.Equal(1, bundle.Total);
        Assert.Empty(bundle.Entry);
    }

    [Theory]
    [InlineData("familly=Smith", "familly")]
    [InlineData("family:nearly=Smith", "family")]
    [InlineData("birthdate=yesterday", "yesterday")]
    [InlineData("_count=all", "_count")]
    [InlineData("_sort=shoesize", "shoesize")]
    [InlineData("_include=Patient:nothing", "Patient:nothing")]
    [InlineData("_elements=nose", "_elements")]
    [InlineData("_summary=most", "_summary")]
    public async Task A_search_that_cannot_be_done_as_asked_is_refused(string query, string says)
    {
        using var response = await app.SendAsync("GET", "/Patient?" + query);
        await response.RefusedAsync(400, says);
        using var posted = await app.SendAsync("POST", "/Patient/_search", query, "application/x-www-form-urlencoded");
        await posted.RefusedAsync(400, says);
    }

    [Fact]
    public async Task An_unknown_parameter_is_passed_over_when_lenient_handling_is_asked_for()
    {
        await app.CreateAsync(Person("Lenient"));
        using var response = await app.SendAsync("GET", "/Patient?family=Lenient&familly=x", null, Json, ("Prefer", "handling=lenient"));
        var bundle = await response.FhirAsync<Bundle>();
        Assert.Single(bundle.Entry);
        Assert.Equal($"{TestApp.FhirBase}/Patient?family=Lenient", bundle.SelfLink!.ToString());
    }

    [Fact]
    public async Task The_host_a_caller_claims_appears_in_no_address()
    {
        await app.CreateAsync(Person("Poisoned"));
        using var request = new HttpRequestMessage(HttpMethod.Get, "/fhir/Patient?family=Poisoned&_count=1") { Headers = { Host = "evil.test" } };
        request.Headers.Add("X-Forwarded-Host", "evil.test");
        using var response = await app.Http.SendAsync(request);
        Assert.DoesNotContain("evil.test", response.Text(), StringComparison.Ordinal);
        foreach (var path in new[] { "/fhir/metadata", "/openapi/v1.json" })
        {
            using var other = new HttpRequestMessage(HttpMethod.Get, path) { Headers = { Host = "evil.test" } };
            using var answer = await app.Http.SendAsync(other);
            Assert.Equal(HttpStatusCode.OK, answer.StatusCode);
            Assert.DoesNotContain("evil.test", answer.Text(), StringComparison.Ordinal);
        }
    }
}
