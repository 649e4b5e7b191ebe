using System.Net;
using System.Text.Json.Nodes;
using static RehabRecords.Tests.Rest.FhirCalls;

namespace RehabRecords.Tests.Rest;

/// <summary>Who calls a person by the whole address of this service means the same person as who says Patient/id; it must not be kept apart from the record.</summary>
public sealed class OwnAddressTests(TestApp app) : IClassFixture<TestApp>
{
    [Fact]
    public async Task What_refers_to_a_person_by_the_whole_address_is_in_the_record_of_that_person()
    {
        var person = await app.CreateAsync(Person());
        var result = await app.CreateAsync(Weight($"{TestApp.FhirBase}/Patient/{person}"));
        Assert.Equal($"Patient/{person}", (string?)(await ReadAsync($"/Observation/{result}"))["subject"]!["reference"]);
        Assert.Contains(result, Ids(await ReadAsync($"/Patient/{person}/$everything")));
        foreach (var query in (string[])[$"/Patient/{person}/Observation", $"/Observation?subject=Patient/{person}", $"/Observation?patient={person}&_sort=-date", $"/Observation?subject={TestApp.FhirBase}/Patient/{person}&_sort=-date"])
            Assert.Equal([result], Ids(await ReadAsync(query)));
    }

    [Fact]
    public async Task Changes_and_patches_are_kept_alike()
    {
        var (first, second) = (await app.CreateAsync(Person()), await app.CreateAsync(Person()));
        var result = await app.CreateAsync(Weight($"Patient/{first}"));
        using var put = await app.SendAsync("PUT", $"/Observation/{result}", Weight($"{TestApp.FhirBase}/Patient/{second}/_history/1", result), Json, ("If-Match", "W/\"1\""));
        Assert.True(put.StatusCode == HttpStatusCode.OK, put.Text());
        Assert.Equal([result], Ids(await ReadAsync($"/Patient/{second}/Observation")));
        using var patch = await app.SendAsync(
            "PATCH", $"/Observation/{result}", $$"""[{"op":"replace","path":"/subject/reference","value":"{{TestApp.FhirBase}}/Patient/{{first}}"}]""", "application/json-patch+json", ("If-Match", "W/\"2\""));
        Assert.True(patch.StatusCode == HttpStatusCode.OK, patch.Text());
        Assert.Equal([result], Ids(await ReadAsync($"/Patient/{first}/Observation")));
        Assert.Empty(Ids(await ReadAsync($"/Patient/{second}/Observation")));
    }

    [Fact]
    public async Task A_condition_by_the_whole_address_means_the_same_person()
    {
        var person = await app.CreateAsync(Person());
        var result = await app.CreateAsync(Weight($"Patient/{person}"));
        using var patch = await app.SendAsync(
            "PATCH", $"/Observation?subject={TestApp.FhirBase}/Patient/{person}", """[{"op":"replace","path":"/code/text","value":"Pinch"}]""", "application/json-patch+json", ("If-Match", "W/\"1\""));
        Assert.True(patch.StatusCode == HttpStatusCode.OK, patch.Text());
        Assert.Equal("Pinch", (string?)(await ReadAsync($"/Observation/{result}"))["code"]!["text"]);
    }

    /// <summary>An entry that comes from elsewhere can name a resource of this service by its whole address only.</summary>
    [Fact]
    public async Task In_a_transaction_too()
    {
        var person = await app.CreateAsync(Person());
        var entry = Entry("POST", "Observation", Weight($"{TestApp.FhirBase}/Patient/{person}"), "https://else.example/fhir/Observation/7");
        using var response = await app.SendAsync("POST", "", Bundle("transaction", entry).ToJsonString());
        Assert.True(response.StatusCode == HttpStatusCode.OK, response.Text());
        Assert.Single(Ids(await ReadAsync($"/Patient/{person}/Observation")));
    }

    [Fact]
    public async Task Files_and_references_at_any_depth_are_kept_alike_and_names_stay_as_they_are()
    {
        var person = await app.CreateAsync(Person());
        var file = await app.CreateAsync("""{ "resourceType": "Binary", "contentType": "text/plain", "data": "YQ==" }""");
        var clinic = await app.CreateAsync("""{ "resourceType": "Organization", "name": "Hill Clinic" }""");
        var at = TestApp.FhirBase;
        var document = await app.CreateAsync($$"""
            {
              "resourceType": "DocumentReference", "status": "current", "subject": { "reference": "{{at}}/Patient/{{person}}" },
              "contained": [{ "resourceType": "Device", "id": "d", "patient": { "reference": "{{at}}/Patient/{{person}}" } }],
              "masterIdentifier": { "system": "{{at}}/Patient/{{person}}", "value": "7", "assigner": { "reference": "{{at}}/Organization/{{clinic}}" } },
              "author": [{ "reference": "#d" }],
              "content": [{ "attachment": { "contentType": "text/plain", "url": "{{at}}/Binary/{{file}}" } }, { "attachment": { "contentType": "text/html", "url": "{{at}}/metadata" } }]
            }
            """);
        var stored = await ReadAsync($"/DocumentReference/{document}");
        Assert.Equal(
            [$"Patient/{person}", $"Patient/{person}", $"{at}/Patient/{person}", $"Organization/{clinic}", $"Binary/{file}", $"{at}/metadata"],
            new[]
            {
                stored["subject"]!["reference"], stored["contained"]![0]!["patient"]!["reference"], stored["masterIdentifier"]!["system"], stored["masterIdentifier"]!["assigner"]!["reference"],
                stored["content"]![0]!["attachment"]!["url"], stored["content"]![1]!["attachment"]!["url"],
            }.Select(n => (string)n!));
        Assert.Equal(new HashSet<string> { person, file, document, clinic }, Ids(await ReadAsync($"/Patient/{person}/$everything")).ToHashSet());
    }

    [Fact]
    public async Task One_that_is_not_there_is_refused_as_under_its_short_name()
    {
        using var response = await app.SendAsync("POST", "/Observation", Weight($"{TestApp.FhirBase}/Patient/nobody"));
        var outcome = await response.RefusedAsync(422, "There is no Patient/nobody");
        Assert.Equal(["Observation.subject"], outcome.Issue[0].Expression);
    }

    private async Task<JsonNode> ReadAsync(string path)
    {
        using var response = await app.SendAsync("GET", path);
        Assert.True(response.StatusCode == HttpStatusCode.OK, response.Text());
        return JsonNode.Parse(response.Text())!;
    }

    private static List<string> Ids(JsonNode bundle) => [.. (bundle["entry"]?.AsArray() ?? []).Select(e => (string)e!["resource"]!["id"]!)];
}
