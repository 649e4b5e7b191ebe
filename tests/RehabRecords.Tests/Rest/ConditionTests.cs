using System.Net;
using Hl7.Fhir.Model;
using static RehabRecords.Tests.Rest.FhirCalls;

namespace RehabRecords.Tests.Rest;

/// <summary>Updates, patches and deletions of what a search finds.</summary>
public sealed class ConditionTests(TestApp app) : IClassFixture<TestApp>
{
    private const string JsonPatch = "application/json-patch+json";
    private static readonly (string, string) FromFirst = ("If-Match", "W/\"1\"");

    private static string By(string identifier) => $"/Patient?identifier={Uri.EscapeDataString(IdSystem + "|" + identifier)}";

    [Fact]
    public async Task An_update_by_condition_creates_what_is_not_there_and_changes_what_is()
    {
        using var created = await app.SendAsync("PUT", By("put-1"), Person("First", "put-1"));
        Assert.True(created.StatusCode == HttpStatusCode.Created, created.Text());
        var id = (await created.FhirAsync<Patient>()).Id!;
        Assert.Equal($"{TestApp.FhirBase}/Patient/{id}/_history/1", created.Headers.Location!.ToString());
        using var updated = await app.SendAsync("PUT", By("put-1"), Person("Second", "put-1"), Json, FromFirst);
        Assert.Equal(HttpStatusCode.OK, updated.StatusCode);
        Assert.Equal((id, "Second", "W/\"2\""), ((await updated.FhirAsync<Patient>()).Id, (await updated.FhirAsync<Patient>()).Name[0].Family, updated.ETag()));
        using var withId = await app.SendAsync("PUT", "/Patient?family=Second&birthdate=1950-04-03", Person("Third", "put-1", id), Json, ("If-Match", "W/\"2\""));
        Assert.Equal(HttpStatusCode.OK, withId.StatusCode);
    }

    [Theory]
    [InlineData(null, 428, "If-Match: W/\"1\"")]
    [InlineData("W/\"4\"", 412, "version 1")]
    public async Task What_is_there_is_not_changed_by_one_who_has_not_seen_it(string? ifMatch, int status, string says)
    {
        await app.CreateAsync(Person("Seen", $"unseen-{status}"));
        var before = app.State();
        (string, string)[] headers = ifMatch is null ? [] : [("If-Match", ifMatch)];
        foreach (var (method, body, type) in new[] { ("PUT", Person("Other", $"unseen-{status}"), Json), ("PATCH", """[{"op":"remove","path":"/birthDate"}]""", JsonPatch), ("DELETE", null, Json) })
        {
            using var response = await app.SendAsync(method, By($"unseen-{status}"), body, type, headers);
            await response.RefusedAsync(status, says);
            Assert.Equal("W/\"1\"", response.ETag());
        }
        Assert.Equal(before, app.State());
    }

    [Fact]
    public async Task More_than_one_match_is_refused()
    {
        var (one, two) = (await app.CreateAsync(Person("Manifold")), await app.CreateAsync(Person("Manifold")));
        var before = app.State();
        foreach (var (method, body, type) in new[] { ("PUT", Person("Other"), Json), ("PATCH", """[{"op":"remove","path":"/birthDate"}]""", JsonPatch), ("DELETE", null, Json) })
        {
            using var response = await app.SendAsync(method, "/Patient?family=Manifold", body, type, FromFirst);
            await response.RefusedAsync(412, one);
            await response.RefusedAsync(412, two);
        }
        Assert.Equal(before, app.State());
    }

    [Fact]
    public async Task An_id_in_the_body_must_be_that_of_what_is_found()
    {
        await app.CreateAsync(Person("Found", "put-id"));
        var before = app.State();
        using var other = await app.SendAsync("PUT", By("put-id"), Person("Found", "put-id", "other"), Json, FromFirst);
        await other.RefusedAsync(400, "other");
        using var notFound = await app.SendAsync("PUT", By("put-nobody"), Person("New", "put-nobody", "mine"));
        await notFound.RefusedAsync(405, "POST /Patient");
        Assert.NotEmpty(notFound.Content.Headers.Allow);
        using var versionOfNothing = await app.SendAsync("PUT", By("put-nobody"), Person("New", "put-nobody"), Json, FromFirst);
        await versionOfNothing.RefusedAsync(412, "no version");
        Assert.Equal(before, app.State());
    }

    [Theory]
    [InlineData("/Patient?family=Nobodyatall", "cannot promise")]
    [InlineData("/Patient?identifier=https://clinic.test/id|elsewhere", "does not carry")]
    [InlineData("/Patient?familly=x", "familly")]
    [InlineData("/Patient?identifier=https://clinic.test/id|elsewhere&_count=1", "nothing else")]
    [InlineData("/Patient?_sort=_id", "nothing else")]
    [InlineData("/Patient?birthdate=soon", "soon")]
    public async Task A_condition_that_cannot_be_used_creates_nothing(string path, string says)
    {
        var before = app.State();
        using var response = await app.SendAsync("PUT", path, Person("New", "put-bad"), Json, ("Prefer", "handling=lenient"));
        await response.RefusedAsync(400, says);
        Assert.Equal(before, app.State());
    }

    [Fact]
    public async Task Ten_identical_updates_by_condition_at_once_make_one_resource()
    {
        var before = app.State();
        var answers = await Task.WhenAll(Enumerable.Range(0, 10).Select(_ => app.SendAsync("PUT", By("put-race"), Person("Race", "put-race"))));
        Assert.Single(answers, a => a.StatusCode == HttpStatusCode.Created);
        Assert.Equal(9, answers.Count(a => (int)a.StatusCode == 428));
        Assert.Equal(before.Versions + 1, app.State().Versions);
    }

    [Fact]
    public async Task A_deletion_by_condition_deletes_the_one_that_meets_it()
    {
        var id = await app.CreateAsync(Person("Doomed", "delete-1"));
        using var deleted = await app.SendAsync("DELETE", By("delete-1"), null, Json, FromFirst);
        Assert.Equal((HttpStatusCode.NoContent, "W/\"2\""), (deleted.StatusCode, deleted.ETag()));
        using var read = await app.SendAsync("GET", $"/Patient/{id}");
        await read.RefusedAsync(410);
        using var again = await app.SendAsync("DELETE", By("delete-1"));
        Assert.Equal(HttpStatusCode.NoContent, again.StatusCode);
    }

    [Fact]
    public async Task A_patch_by_condition_changes_the_one_that_meets_it()
    {
        await app.CreateAsync(Person("Patched", "patch-1"));
        using var patched = await app.SendAsync("PATCH", By("patch-1"), """[{"op":"add","path":"/active","value":true}]""", JsonPatch, FromFirst);
        Assert.True(patched.StatusCode == HttpStatusCode.OK, patched.Text());
        Assert.True((await patched.FhirAsync<Patient>()).Active);
        using var none = await app.SendAsync("PATCH", By("patch-nobody"), """[{"op":"add","path":"/active","value":true}]""", JsonPatch, FromFirst);
        await none.RefusedAsync(404, "patch-nobody");
    }

    [Fact]
    public async Task A_transaction_changes_by_condition_too()
    {
        await app.CreateAsync(Person("Going", "txn-going"));
        await app.CreateAsync(Person("Staying", "txn-staying"));
        using var response = await app.SendAsync("POST", "", Bundle("transaction",
            Entry("PUT", By("txn-new")[1..], Person("New", "txn-new"), "urn:uuid:0c1e9b1e-6a3b-4b4e-9d7d-0d2f8c5b0a11"),
            Entry("POST", "Observation", Weight("urn:uuid:0c1e9b1e-6a3b-4b4e-9d7d-0d2f8c5b0a11")),
            Entry("PUT", By("txn-staying")[1..], Person("Changed", "txn-staying"), ifMatch: "W/\"1\""),
            Entry("DELETE", By("txn-going")[1..], ifMatch: "W/\"1\"")).ToJsonString());
        Assert.True(response.StatusCode == HttpStatusCode.OK, response.Text());
        Assert.Equal(["201", "201", "200", "204"], (await response.FhirAsync<Bundle>()).Entry.Select(e => e.Response!.Status![..3]));
    }

    [Fact]
    public async Task What_two_entries_of_a_transaction_find_is_changed_by_neither()
    {
        var id = await app.CreateAsync(Person("Twice", "txn-twice"));
        var before = app.State();
        using var response = await app.SendAsync("POST", "", Bundle("transaction",
            Entry("PUT", $"Patient/{id}", Person("One", "txn-twice", id), ifMatch: "W/\"1\""),
            Entry("PUT", By("txn-twice")[1..], Person("Two", "txn-twice"), ifMatch: "W/\"1\"")).ToJsonString());
        await response.RefusedAsync(400, "two entries");
        Assert.Equal(before, app.State());
    }

    [Fact]
    public async Task A_condition_is_not_met_by_what_the_same_transaction_deletes()
    {
        var old = await app.CreateAsync(Person("Old", "txn-again"));
        using var response = await app.SendAsync("POST", "", Bundle("transaction",
            Entry("POST", "Patient", Person("New", "txn-again"), ifNoneExist: $"identifier={IdSystem}|txn-again"),
            Entry("DELETE", $"Patient/{old}", ifMatch: "W/\"1\"")).ToJsonString());
        Assert.Equal(["201", "204"], (await response.FhirAsync<Bundle>()).Entry.Select(e => e.Response!.Status![..3]));
    }

    [Fact]
    public async Task A_bundle_reads_only_what_its_sender_has_not_yet()
    {
        var id = await app.CreateAsync(Person());
        System.Text.Json.Nodes.JsonObject Reading(string method, string? ifNoneMatch = null, string? ifModifiedSince = null)
        {
            var entry = Entry(method, $"Patient/{id}");
            if (ifNoneMatch is not null)
                entry["request"]!["ifNoneMatch"] = ifNoneMatch;
            if (ifModifiedSince is not null)
                entry["request"]!["ifModifiedSince"] = ifModifiedSince;
            return entry;
        }
        using var response = await app.SendAsync("POST", "", Bundle("batch",
            Reading("GET", ifNoneMatch: "W/\"1\""), Reading("GET", ifNoneMatch: "W/\"7\""), Reading("GET", ifModifiedSince: "2100-01-01T00:00:00Z"), Reading("HEAD"), Reading("GET")).ToJsonString());
        var answer = await response.FhirAsync<Bundle>();
        Assert.Equal(["304", "200", "304", "200", "200"], answer.Entry.Select(e => e.Response!.Status![..3]));
        Assert.Equal([false, true, false, false, true], answer.Entry.Select(e => e.Resource is not null));
        Assert.All(answer.Entry, e => Assert.Equal("W/\"1\"", e.Response!.Etag));
    }

    [Fact]
    public async Task A_bundle_tells_in_outcomes_when_these_are_preferred()
    {
        using var response = await app.SendAsync("POST", "", Bundle("transaction", Entry("POST", "Patient", Person())).ToJsonString(), Json, ("Prefer", "return=OperationOutcome"));
        var answer = await response.FhirAsync<Bundle>();
        Assert.Contains("was created", ((OperationOutcome)answer.Entry[0].Response!.Outcome!).Issue[0].Diagnostics!, StringComparison.Ordinal);
    }
}
