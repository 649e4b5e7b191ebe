using System.Net;
using Hl7.Fhir.Model;
using static RehabRecords.Tests.Rest.FhirCalls;

namespace RehabRecords.Tests.Rest;

public sealed class ReadTests(TestApp app) : IClassFixture<TestApp>
{
    [Fact]
    public async Task A_read_gives_the_stored_resource_with_its_version_and_time()
    {
        var id = await app.CreateAsync(Person());
        using var response = await app.SendAsync("GET", $"/Patient/{id}");
        Assert.Equal(HttpStatusCode.OK, response.StatusCode);
        Assert.Equal("W/\"1\"", response.ETag());
        Assert.Equal("application/fhir+json; charset=utf-8", response.Content.Headers.ContentType!.ToString());
        var person = await response.FhirAsync<Patient>();
        Assert.Equal((id, "1", "Sampleton"), (person.Id, person.Meta!.VersionId, person.Name[0].Family));
        Assert.Equal(person.Meta.LastUpdated!.Value.ToUnixTimeSeconds(), response.Content.Headers.LastModified!.Value.ToUnixTimeSeconds());
    }

    [Fact]
    public async Task What_is_served_is_the_stored_bytes()
    {
        var id = await app.CreateAsync(Person());
        var stored = await app.Store.ReadAsync("Patient", id);
        Assert.Equal(stored!.Json.ToArray(), await app.Http.GetByteArrayAsync($"/fhir/Patient/{id}"));
    }

    [Fact]
    public async Task A_trailing_slash_changes_nothing()
    {
        var id = await app.CreateAsync(Person());
        using var response = await app.SendAsync("GET", $"/Patient/{id}/");
        Assert.Equal(HttpStatusCode.OK, response.StatusCode);
    }

    [Fact]
    public async Task HEAD_gives_the_headers_of_GET_without_the_body()
    {
        var id = await app.CreateAsync(Person());
        using var get = await app.SendAsync("GET", $"/Patient/{id}");
        using var head = await app.SendAsync("HEAD", $"/Patient/{id}");
        Assert.Equal(HttpStatusCode.OK, head.StatusCode);
        Assert.Equal(get.ETag(), head.ETag());
        Assert.Equal(get.Content.Headers.ContentLength, head.Content.Headers.ContentLength);
        Assert.Empty(await head.Content.ReadAsByteArrayAsync());
    }

    [Theory]
    [InlineData("If-None-Match", "W/\"1\"")]
    [InlineData("If-None-Match", "\"1\"")]
    [InlineData("If-None-Match", "W/\"7\", W/\"1\"")]
    [InlineData("If-None-Match", "*")]
    [InlineData("If-Modified-Since", "Fri, 01 Jan 2100 00:00:00 GMT")]
    public async Task A_caller_who_has_the_version_is_not_sent_it_again(string header, string value)
    {
        var id = await app.CreateAsync(Person());
        using var response = await app.SendAsync("GET", $"/Patient/{id}", null, Json, (header, value));
        Assert.Equal(HttpStatusCode.NotModified, response.StatusCode);
        Assert.Equal("W/\"1\"", response.ETag());
        Assert.Empty(await response.Content.ReadAsByteArrayAsync());
    }

    [Theory]
    [InlineData("If-None-Match", "W/\"2\"")]
    [InlineData("If-None-Match", "W/\"11\"")]
    [InlineData("If-Modified-Since", "Sat, 01 Jan 2000 00:00:00 GMT")]
    [InlineData("If-Modified-Since", "yesterday")]
    public async Task A_caller_who_has_another_version_is_sent_this_one(string header, string value)
    {
        var id = await app.CreateAsync(Person());
        using var response = await app.SendAsync("GET", $"/Patient/{id}", null, Json, (header, value));
        Assert.Equal(HttpStatusCode.OK, response.StatusCode);
    }

    [Fact]
    public async Task Every_version_can_be_read_for_ever()
    {
        var id = await app.CreateAsync(Person("First"));
        using var update = await app.SendAsync("PUT", $"/Patient/{id}", Person("Second", id: id), Json, ("If-Match", "W/\"1\""));
        Assert.Equal(HttpStatusCode.OK, update.StatusCode);
        using var old = await app.SendAsync("GET", $"/Patient/{id}/_history/1");
        Assert.Equal("First", (await old.FhirAsync<Patient>()).Name[0].Family);
        Assert.Equal("W/\"1\"", old.ETag());
        using var missing = await app.SendAsync("GET", $"/Patient/{id}/_history/3");
        await missing.RefusedAsync(404, $"Patient/{id}/_history/3");
        using var notANumber = await app.SendAsync("GET", $"/Patient/{id}/_history/latest");
        await notANumber.RefusedAsync(404);
    }

    [Fact]
    public async Task A_deleted_resource_is_gone_and_its_versions_are_not()
    {
        var id = await app.CreateAsync(Person());
        using var delete = await app.SendAsync("DELETE", $"/Patient/{id}", null, Json, ("If-Match", "W/\"1\""));
        Assert.Equal(HttpStatusCode.NoContent, delete.StatusCode);
        using var read = await app.SendAsync("GET", $"/Patient/{id}");
        await read.RefusedAsync(410, "was deleted");
        Assert.Equal("W/\"2\"", read.ETag());
        using var deletedVersion = await app.SendAsync("GET", $"/Patient/{id}/_history/2");
        await deletedVersion.RefusedAsync(410);
        using var first = await app.SendAsync("GET", $"/Patient/{id}/_history/1");
        Assert.Equal(HttpStatusCode.OK, first.StatusCode);
    }

    [Fact]
    public async Task History_lists_versions_newest_first_with_what_was_done()
    {
        var id = await app.CreateAsync(Person("First"));
        await app.SendAsync("PUT", $"/Patient/{id}", Person("Second", id: id), Json, ("If-Match", "W/\"1\""));
        await app.SendAsync("DELETE", $"/Patient/{id}", null, Json, ("If-Match", "W/\"2\""));
        using var response = await app.SendAsync("GET", $"/Patient/{id}/_history");
        var history = await response.FhirAsync<Bundle>();
        Assert.Equal(Hl7.Fhir.Model.Bundle.BundleType.History, history.Type);
        Assert.Equal(3, history.Total);
        Assert.Equal(["DELETE", "PUT", "POST"], history.Entry.Select(e => e.Request!.Method.ToString()));
        Assert.Equal(["204", "200", "201"], history.Entry.Select(e => e.Response!.Status![..3]));
        Assert.Equal(["W/\"3\"", "W/\"2\"", "W/\"1\""], history.Entry.Select(e => e.Response!.Etag));
        Assert.Null(history.Entry[0].Resource);
        Assert.Equal($"{TestApp.FhirBase}/Patient/{id}", history.Entry[1].FullUrl);
        Assert.All(TestApp.SharedValidator.Validate(history), issue => Assert.False(issue.Refuses, issue.Message));
    }

    [Fact]
    public async Task History_is_paged_by_count()
    {
        var id = await app.CreateAsync(Person("V1"));
        for (var version = 1; version < 5; version++)
            await app.SendAsync("PUT", $"/Patient/{id}", Person($"V{version + 1}", id: id), Json, ("If-Match", $"W/\"{version}\""));
        var seen = new List<string>();
        var next = $"/Patient/{id}/_history?_count=2";
        for (var pages = 0; next is not null && pages < 5; pages++)
        {
            using var response = await app.SendAsync("GET", next);
            var page = await response.FhirAsync<Bundle>();
            Assert.True(page.Entry.Count <= 2);
            seen.AddRange(page.Entry.Select(e => ((Patient)e.Resource!).Name[0].Family!));
            Assert.StartsWith(TestApp.FhirBase, page.SelfLink!.ToString());
            next = page.NextLink?.ToString()[TestApp.FhirBase.Length..];
        }
        Assert.Equal(["V5", "V4", "V3", "V2", "V1"], seen);
    }

    [Theory]
    [InlineData("_count=many")]
    [InlineData("_since=soon")]
    [InlineData("_count=1&_count=2")]
    [InlineData("_before=2")]
    public async Task A_history_parameter_that_cannot_be_used_is_refused(string query)
    {
        var id = await app.CreateAsync(Person());
        using var response = await app.SendAsync("GET", $"/Patient/{id}/_history?{query}");
        await response.RefusedAsync(400);
    }

    [Fact]
    public async Task History_since_leaves_out_what_is_older()
    {
        var id = await app.CreateAsync(Person());
        using var later = await app.SendAsync("GET", $"/Patient/{id}/_history?_since=2100-01-01T00:00:00Z");
        Assert.Empty((await later.FhirAsync<Bundle>()).Entry);
        using var earlier = await app.SendAsync("GET", $"/Patient/{id}/_history?_since=2000-01-01T00:00:00Z");
        Assert.Single((await earlier.FhirAsync<Bundle>()).Entry);
    }

    [Theory]
    [InlineData("/Patient/nobody", 404)]
    [InlineData("/Patient/nobody/_history", 404)]
    [InlineData("/Patient/nobody/_history/1", 404)]
    [InlineData("/Patient/a%2Fb", 400)]
    [InlineData("/Patient/a_b", 400)]
    [InlineData("/Patient/x?_summary=text", 404)]
    [InlineData("/Patient/x?_summary=most", 400)]
    [InlineData("/Medication/1", 404)]
    [InlineData("/Unheard/1", 404)]
    [InlineData("/nothing/here/at/all/ever", 404)]
    public async Task What_is_not_there_or_cannot_be_is_said_so(string path, int status)
    {
        using var response = await app.SendAsync("GET", path);
        await response.RefusedAsync(status);
    }

    [Fact]
    public async Task An_id_of_65_characters_cannot_be()
    {
        using var response = await app.SendAsync("GET", "/Patient/" + new string('a', 65));
        await response.RefusedAsync(400, "64");
    }
}
