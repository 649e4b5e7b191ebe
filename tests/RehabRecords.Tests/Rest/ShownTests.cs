using System.Net;
using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using static RehabRecords.Tests.Rest.FhirCalls;

namespace RehabRecords.Tests.Rest;

/// <summary>_summary and _elements on everything that is read.</summary>
public sealed class ShownTests(TestApp app) : IClassFixture<TestApp>
{
    private const string Told = """
        {"resourceType":"Observation","text":{"status":"generated","div":"<div xmlns=\"http://www.w3.org/1999/xhtml\">Grip 12.5 kg</div>"},
        "status":"final","code":{"text":"Grip"},"valueQuantity":{"value":12.50,"unit":"kg","system":"http://unitsofmeasure.org","code":"kg"},
        "note":[{"text":"Sat up well."}],"interpretation":[{"text":"Better"}]}
        """;

    private static IEnumerable<string> Members(JsonNode node) => node.AsObject().Select(m => m.Key).Where(k => k is not ("resourceType" or "id" or "meta"));

    [Theory]
    [InlineData("_summary=true", "status code valueQuantity", true)]
    [InlineData("_summary=text", "text status code", true)]
    [InlineData("_summary=data", "status code valueQuantity interpretation note", true)]
    [InlineData("_summary=false", "text status code valueQuantity interpretation note", false)]
    [InlineData("_elements=note", "status code note", true)]
    [InlineData("_elements=value,interpretation", "status code valueQuantity interpretation", true)]
    [InlineData("_elements=value&_elements=note", "status code valueQuantity note", true)]
    [InlineData("_elements=", "text status code valueQuantity interpretation note", false)]
    public async Task A_resource_is_read_in_the_part_that_is_wanted(string query, string members, bool tagged)
    {
        var id = await app.CreateAsync(Told);
        foreach (var path in new[] { $"/fhir/Observation/{id}?{query}", $"/fhir/Observation/{id}/_history/1?{query}", $"/fhir/Observation?_id={id}&{query}", $"/fhir/Observation/{id}/_history?{query}" })
        {
            var body = await app.GetAsync(path);
            var shown = body["entry"] is { } entries ? entries[0]!["resource"]! : body;
            Assert.Equal(members.Split(' ').Order(StringComparer.Ordinal), Members(shown).Order(StringComparer.Ordinal));
            Assert.Equal((id, "1"), (shown["id"]!.ToString(), shown["meta"]!["versionId"]!.ToString()));
            var tags = shown["meta"]!["tag"]?.AsArray().Select(t => t!["code"]!.ToString() + " " + t["system"]) ?? [];
            Assert.Equal(tagged, tags.Contains("SUBSETTED http://terminology.hl7.org/CodeSystem/v3-ObservationValue"));
        }
        Assert.Contains("12.50", await app.Http.GetStringAsync($"/fhir/Observation/{id}?_elements=value"), StringComparison.Ordinal);
    }

    [Fact]
    public async Task It_is_the_same_in_XML_and_before_people()
    {
        var id = await app.CreateAsync(Told);
        using var xml = await app.SendAsync("GET", $"/Observation/{id}?_summary=text&_pretty=true", null, Json, ("Accept", Xml));
        var observation = await xml.FhirAsync<Observation>();
        Assert.Contains("Grip 12.5 kg", observation.Text!.Div!, StringComparison.Ordinal);
        Assert.Null(observation.Value);
        Assert.Contains(observation.Meta!.Tag, t => t.Code == "SUBSETTED");
        Assert.Contains('\n', xml.Text());
    }

    [Fact]
    public async Task A_search_can_be_counted_and_its_self_link_says_so()
    {
        await app.CreateAsync(Person("Counted"));
        using var response = await app.SendAsync("GET", "/Patient?family=Counted&_summary=count");
        var counted = await response.FhirAsync<Bundle>();
        Assert.Equal((1, 0), (counted.Total, counted.Entry.Count));
        Assert.EndsWith("_summary=count", counted.SelfLink!.ToString(), StringComparison.Ordinal);
    }

    [Fact]
    public async Task Elements_are_named_of_the_matches_and_what_goes_along_is_whole()
    {
        var person = await app.CreateAsync(Person("Along"));
        var result = await app.CreateAsync(Weight($"Patient/{person}"));
        using var cut = await app.SendAsync("GET", $"/Observation?_id={result}&_include=Observation:subject&_elements=status");
        var page = await cut.FhirAsync<Bundle>();
        Assert.Null(((Observation)page.Entry[0].Resource!).Value);
        Assert.Equal("1950-04-03", ((Patient)page.Entry[1].Resource!).BirthDate);
        using var summary = await app.SendAsync("GET", $"/Observation?_id={result}&_include=Observation:subject&_summary=true");
        Assert.All((await summary.FhirAsync<Bundle>()).Entry, e => Assert.Contains(e.Resource!.Meta!.Tag, t => t.Code == "SUBSETTED"));
        using var mixed = await app.SendAsync("GET", $"/Observation?_id={result}&_include=Observation:subject&_summary=text");
        await mixed.RefusedAsync(400, "_include");
    }

    [Theory]
    [InlineData("_summary=most", "'most'")]
    [InlineData("_summary=true&_summary=text", "give one")]
    [InlineData("_summary=count", "search or history")]
    [InlineData("_summary=true&_elements=name", "give one of them")]
    [InlineData("_elements=name,nose", "'nose'")]
    [InlineData("_elements=deceasedBoolean", "valueQuantity")]
    [InlineData("_elements=name.family", "first level")]
    public async Task A_part_that_cannot_be_is_refused(string query, string says)
    {
        var id = await app.CreateAsync(Person());
        using var response = await app.SendAsync("GET", $"/Patient/{id}?{query}");
        await response.RefusedAsync(400, says);
        using var lenient = await app.SendAsync("GET", $"/Patient/{id}?_elements=birthDate,nose", null, Json, ("Prefer", "handling=lenient"));
        Assert.Equal(HttpStatusCode.OK, lenient.StatusCode);
    }

    [Fact]
    public async Task A_caller_who_has_the_version_is_not_sent_a_part_of_it_again()
    {
        var id = await app.CreateAsync(Person());
        using var response = await app.SendAsync("GET", $"/Patient/{id}?_summary=true", null, Json, ("If-None-Match", "W/\"1\""));
        Assert.Equal(HttpStatusCode.NotModified, response.StatusCode);
    }

    [Fact]
    public async Task A_batch_can_read_a_part()
    {
        var id = await app.CreateAsync(Person());
        using var response = await app.SendAsync("POST", "", Bundle("batch", Entry("GET", $"Patient/{id}?_elements=birthDate")).ToJsonString());
        var person = (Patient)(await response.FhirAsync<Bundle>()).Entry[0].Resource!;
        Assert.Equal((0, "1950-04-03"), (person.Name.Count, person.BirthDate));
    }

    [Fact]
    public async Task A_part_is_never_taken_for_the_whole()
    {
        var id = await app.CreateAsync(Person());
        var part = await app.Http.GetStringAsync($"/fhir/Patient/{id}?_elements=birthDate");
        var before = app.State();
        using var update = await app.SendAsync("PUT", $"/Patient/{id}", part, Json, ("If-Match", "W/\"1\""));
        await update.RefusedAsync(422, "SUBSETTED");
        using var create = await app.SendAsync("POST", "/Patient", part);
        await create.RefusedAsync(422, "SUBSETTED");
        Assert.Equal(before, app.State());
    }
}
