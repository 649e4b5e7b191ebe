using System.Net;
using Hl7.Fhir.Model;
using static RehabRecords.Tests.Rest.FhirCalls;

namespace RehabRecords.Tests.Rest;

public sealed class WriteTests(TestApp app) : IClassFixture<TestApp>
{
    private static readonly (string, string) FromFirst = ("If-Match", "W/\"1\"");

    [Fact]
    public async Task A_creation_answers_201_with_place_version_and_time()
    {
        using var response = await app.SendAsync("POST", "/Patient", Person());
        Assert.Equal(HttpStatusCode.Created, response.StatusCode);
        var person = await response.FhirAsync<Patient>();
        Assert.Equal($"{TestApp.FhirBase}/Patient/{person.Id}/_history/1", response.Headers.Location!.ToString());
        Assert.Equal("W/\"1\"", response.ETag());
        Assert.NotNull(response.Content.Headers.LastModified);
    }

    [Fact]
    public async Task The_id_version_and_time_are_the_services_to_give()
    {
        var body = """{"resourceType":"Patient","id":"mine","meta":{"versionId":"9","lastUpdated":"1999-01-01T00:00:00Z"},"name":[{"family":"Sampleton"}]}""";
        using var response = await app.SendAsync("POST", "/Patient", body);
        Assert.True(response.StatusCode == HttpStatusCode.Created, response.Text());
        var person = await response.FhirAsync<Patient>();
        Assert.NotEqual("mine", person.Id);
        Assert.Equal("1", person.Meta!.VersionId);
        Assert.True(person.Meta.LastUpdated > DateTimeOffset.Parse("2020-01-01T00:00:00Z"));
        using var read = await app.SendAsync("GET", "/Patient/mine");
        await read.RefusedAsync(404);
    }

    [Theory]
    [InlineData("return=minimal", "")]
    [InlineData("return=representation", "Patient")]
    [InlineData("return=OperationOutcome", "OperationOutcome")]
    [InlineData("respond-async, return=minimal", "")]
    [InlineData("nonsense", "Patient")]
    public async Task The_answer_is_as_much_as_is_preferred(string prefer, string type)
    {
        using var response = await app.SendAsync("POST", "/Patient", Person(), Json, ("Prefer", prefer));
        Assert.Equal(HttpStatusCode.Created, response.StatusCode);
        Assert.NotNull(response.Headers.Location);
        if (type.Length == 0)
            Assert.Empty(await response.Content.ReadAsByteArrayAsync());
        else
            Assert.Equal(type, (await response.FhirAsync<Resource>()).TypeName);
    }

    [Fact]
    public async Task A_conditional_creation_finds_what_holds_the_identifier()
    {
        (string, string) condition = ("If-None-Exist", $"identifier={IdSystem}|cond-1");
        using var first = await app.SendAsync("POST", "/Patient", Person(identifier: "cond-1"), Json, condition);
        Assert.Equal(HttpStatusCode.Created, first.StatusCode);
        var before = app.State();
        using var second = await app.SendAsync("POST", "/Patient", Person("Other", "cond-1"), Json, condition);
        Assert.Equal(HttpStatusCode.OK, second.StatusCode);
        Assert.Equal((await first.FhirAsync<Patient>()).Id, (await second.FhirAsync<Patient>()).Id);
        Assert.Equal("Sampleton", (await second.FhirAsync<Patient>()).Name[0].Family);
        Assert.Equal(before, app.State());
    }

    [Fact]
    public async Task Ten_identical_conditional_creations_at_once_make_one_resource()
    {
        var before = app.State();
        var answers = await Task.WhenAll(Enumerable.Range(0, 10).Select(_ =>
            app.SendAsync("POST", "/Patient", Person(identifier: "race-1"), Json, ("If-None-Exist", $"identifier={IdSystem}|race-1"))));
        Assert.Single(answers, a => a.StatusCode == HttpStatusCode.Created);
        Assert.Equal(9, answers.Count(a => a.StatusCode == HttpStatusCode.OK));
        var ids = await Task.WhenAll(answers.Select(async a => (await a.FhirAsync<Patient>()).Id));
        Assert.Single(ids.Distinct());
        Assert.Equal(before.Versions + 1, app.State().Versions);
    }

    [Theory]
    [InlineData("family=Sampleton")]
    [InlineData("identifier=cond-2")]
    [InlineData("identifier=|cond-2")]
    [InlineData("identifier=https://clinic.test/id|")]
    [InlineData("identifier=https://clinic.test/id|cond-2&active=true")]
    [InlineData("identifier=https://clinic.test/id|cond-2,https://clinic.test/id|cond-3")]
    [InlineData("identifier=https://clinic.test/id|another")]
    public async Task A_condition_that_cannot_promise_one_match_is_refused(string condition)
    {
        var before = app.State();
        using var response = await app.SendAsync("POST", "/Patient", Person(identifier: "cond-2"), Json, ("If-None-Exist", condition));
        await response.RefusedAsync(400);
        Assert.Equal(before, app.State());
    }

    [Fact]
    public async Task A_second_holder_of_an_identifier_is_a_conflict_that_names_the_first()
    {
        var holder = await app.CreateAsync(Person(identifier: "taken"));
        using var response = await app.SendAsync("POST", "/Patient", Person("Other", "taken"));
        await response.RefusedAsync(409, holder);
    }

    [Fact]
    public async Task An_update_makes_the_next_version()
    {
        var id = await app.CreateAsync(Person());
        using var response = await app.SendAsync("PUT", $"/Patient/{id}", Person("Renamed", id: id), Json, FromFirst);
        Assert.Equal(HttpStatusCode.OK, response.StatusCode);
        Assert.Equal("W/\"2\"", response.ETag());
        Assert.Equal($"{TestApp.FhirBase}/Patient/{id}/_history/2", response.Headers.Location!.ToString());
        var person = await response.FhirAsync<Patient>();
        Assert.Equal(("Renamed", "2"), (person.Name[0].Family, person.Meta!.VersionId));
    }

    [Theory]
    [InlineData(null, 428, "If-Match: W/\"1\"")]
    [InlineData("*", 428, "If-Match: W/\"1\"")]
    [InlineData("W/\"2\"", 412, "version 1")]
    [InlineData("three", 400, "three")]
    [InlineData("W/\"1\", W/\"2\"", 400, "one version")]
    public async Task An_update_or_deletion_that_was_not_made_from_the_current_version_is_refused(string? ifMatch, int status, string says)
    {
        var id = await app.CreateAsync(Person());
        var before = app.State();
        (string, string)[] headers = ifMatch is null ? [] : [("If-Match", ifMatch)];
        using var update = await app.SendAsync("PUT", $"/Patient/{id}", Person("Renamed", id: id), Json, headers);
        await update.RefusedAsync(status, says);
        using var delete = await app.SendAsync("DELETE", $"/Patient/{id}", null, Json, headers);
        await delete.RefusedAsync(status, says);
        if (status is 412 or 428)
            Assert.Equal("W/\"1\"", update.ETag());
        Assert.Equal(before, app.State());
    }

    [Fact]
    public async Task A_strong_tag_is_as_good_as_a_weak_one()
    {
        var id = await app.CreateAsync(Person());
        using var response = await app.SendAsync("PUT", $"/Patient/{id}", Person(id: id), Json, ("If-Match", "\"1\""));
        Assert.Equal(HttpStatusCode.OK, response.StatusCode);
    }

    [Fact]
    public async Task Of_ten_updates_from_one_version_one_is_stored()
    {
        var id = await app.CreateAsync(Person());
        var answers = await Task.WhenAll(Enumerable.Range(0, 10).Select(i => app.SendAsync("PUT", $"/Patient/{id}", Person($"Writer{i}", id: id), Json, FromFirst)));
        Assert.Single(answers, a => a.StatusCode == HttpStatusCode.OK);
        Assert.Equal(9, answers.Count(a => a.StatusCode == HttpStatusCode.PreconditionFailed));
        Assert.Equal(2, (await app.Store.ReadAsync("Patient", id))!.Version);
    }

    [Theory]
    [InlineData("other")]
    [InlineData(null)]
    public async Task The_id_of_body_and_address_must_be_the_same(string? bodyId)
    {
        var id = await app.CreateAsync(Person());
        using var response = await app.SendAsync("PUT", $"/Patient/{id}", Person(id: bodyId), Json, FromFirst);
        await response.RefusedAsync(400, id);
    }

    [Fact]
    public async Task Nothing_is_created_by_an_update()
    {
        var before = app.State();
        using var response = await app.SendAsync("PUT", "/Patient/brand-new", Person(id: "brand-new"));
        await response.RefusedAsync(405, "POST /Patient");
        Assert.Equal(["DELETE", "GET", "HEAD", "PATCH"], response.Content.Headers.Allow.Order(StringComparer.Ordinal));
        Assert.Equal(before, app.State());
    }

    [Fact]
    public async Task A_deletion_can_be_repeated()
    {
        var id = await app.CreateAsync(Person());
        using var first = await app.SendAsync("DELETE", $"/Patient/{id}", null, Json, FromFirst);
        Assert.Equal(HttpStatusCode.NoContent, first.StatusCode);
        Assert.Empty(await first.Content.ReadAsByteArrayAsync());
        var before = app.State();
        using var told = await app.SendAsync("DELETE", $"/Patient/{id}", null, Json, ("Prefer", "return=OperationOutcome"));
        Assert.Equal(HttpStatusCode.OK, told.StatusCode);
        Assert.Contains("deletion", (await told.FhirAsync<OperationOutcome>()).Issue[0].Diagnostics!, StringComparison.Ordinal);
        using var second = await app.SendAsync("DELETE", $"/Patient/{id}");
        Assert.Equal(HttpStatusCode.NoContent, second.StatusCode);
        using var never = await app.SendAsync("DELETE", "/Patient/never-was");
        Assert.Equal(HttpStatusCode.NoContent, never.StatusCode);
        Assert.Equal(before, app.State());
    }

    [Fact]
    public async Task A_deleted_resource_comes_back_by_an_update_from_its_deletion()
    {
        var id = await app.CreateAsync(Person());
        await app.SendAsync("DELETE", $"/Patient/{id}", null, Json, FromFirst);
        using var without = await app.SendAsync("PUT", $"/Patient/{id}", Person(id: id));
        await without.RefusedAsync(428);
        using var response = await app.SendAsync("PUT", $"/Patient/{id}", Person(id: id), Json, ("If-Match", "W/\"2\""));
        Assert.Equal(HttpStatusCode.OK, response.StatusCode);
        Assert.Equal("W/\"3\"", response.ETag());
    }

    [Theory]
    [InlineData("POST", "/Observation", 400, "The address names Observation")]
    [InlineData("POST", "/AuditEvent", 405, "Offered: GET, HEAD")]
    [InlineData("PUT", "/AuditEvent/1", 405, "Offered: GET, HEAD")]
    [InlineData("DELETE", "/AuditEvent/1", 405, "Offered: GET, HEAD")]
    [InlineData("PATCH", "/AuditEvent/1", 405, "Offered: GET, HEAD")]
    [InlineData("PATCH", "/Bundle/1", 405, "Offered: ")]
    [InlineData("PATCH", "/Patient/1", 400, "no patch")]
    [InlineData("PATCH", "/Patient", 405, "PATCH is not offered")]
    [InlineData("PUT", "/Patient", 405, "PUT is not offered")]
    [InlineData("DELETE", "/Patient", 405, "DELETE is not offered")]
    [InlineData("TRACE", "/Patient/1", 405, "TRACE is not offered")]
    [InlineData("POST", "/Medication", 404, null)]
    public async Task What_is_not_offered_is_refused(string method, string path, int status, string? says)
    {
        var before = app.State();
        using var response = await app.SendAsync(method, path, method == "TRACE" ? null : Person());
        await response.RefusedAsync(status, says);
        Assert.Equal(before, app.State());
    }
}
