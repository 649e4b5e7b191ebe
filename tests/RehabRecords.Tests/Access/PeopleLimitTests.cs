using System.Net;
using System.Text;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Store;
using RehabRecords.Tests.Rest;

namespace RehabRecords.Tests.Access;

/// <summary>A community team sees the people it was given, and everybody else is as if they were not there.</summary>
public sealed class PeopleLimitTests(PeopleLimitTests.Teams app) : IClassFixture<PeopleLimitTests.Teams>
{
    public sealed class Teams : AccessApp
    {
        public const string Listed = "listed-person", Hidden = "hidden-person";

        public Teams() => Register(
            new TestClient("hill-community", "hill", "system", ["system/*.cruds", "api/*"], people: [Listed]),
            new TestClient("hill-team", "hill", "community-team", ["system/*.rs", "api/*"], people: [Listed]));

        public TestClient Limited => More[0];

        public TestClient Team => More[1];
    }

    private static async Task<HttpClient> FilledAsync(Teams app)
    {
        var all = await app.AsAsync(app.Hill);
        foreach (var (id, word) in new[] { (Teams.Listed, "Listedword"), (Teams.Hidden, "Hiddenword") })
        {
            if (await app.StoreOf("hill").ReadAsync("Patient", id) is not null)
                continue;
            var set = new WriteSet();
            set.Create((Patient)ResourceReader.Read(Encoding.UTF8.GetBytes(FhirCalls.Person(word, id, id)), FhirFormat.Json));
            foreach (var n in new[] { 1, 2, 3 })
                set.Create((Observation)ResourceReader.Read(Encoding.UTF8.GetBytes(FhirCalls.Weight($"Patient/{id}", $"{id}-{n}").Replace("Grip", "Grip of " + word, StringComparison.Ordinal)), FhirFormat.Json));
            await app.StoreOf("hill").CommitAsync(set);
        }

        return all;
    }

    [Theory]
    [InlineData("/fhir/Patient", 1)]
    [InlineData("/fhir/Observation", 3)]
    [InlineData("/fhir/Observation?_sort=-_lastUpdated&_count=2", 3)]
    [InlineData("/fhir/Observation?_summary=count", 3)]
    [InlineData("/fhir/Observation?subject=Patient/hidden-person", 0)]
    [InlineData("/fhir/Observation?subject:missing=false&_total=accurate", 3)]
    [InlineData("/fhir/Patient?_revinclude=Observation:subject", 1)]
    [InlineData("/fhir?_type=Patient,Observation", 4)]
    [InlineData("/fhir/Patient/listed-person/Observation", 3)]
    [InlineData("/fhir/Patient/hidden-person/Observation", 0)]
    [InlineData("/fhir/Observation/_history?_summary=count", 3)]
    [InlineData("/fhir/Patient/_history", 1)]
    public async Task A_search_finds_and_counts_the_listed_people_only(string path, int total)
    {
        using var all = await FilledAsync(app);
        using var limited = await app.AsAsync(app.Limited);
        var found = await limited.ExpectAsync(HttpStatusCode.OK, "GET", path);
        Assert.DoesNotContain("Hiddenword", found.ToJsonString());
        Assert.DoesNotContain("hidden-person-", found.ToJsonString());
        if (found["total"] is { } told)
            Assert.Equal(total, (int)told);
        Assert.Contains("Hiddenword", (await all.ExpectAsync(HttpStatusCode.OK, "GET", "/fhir/Patient?_revinclude=Observation:subject")).ToJsonString());
    }

    [Theory]
    [InlineData("/fhir/Patient/hidden-person")]
    [InlineData("/fhir/Patient/hidden-person/_history")]
    [InlineData("/fhir/Patient/hidden-person/_history/1")]
    [InlineData("/fhir/Patient/hidden-person/$everything")]
    [InlineData("/fhir/Observation/hidden-person-1")]
    [InlineData("/api/people/hidden-person")]
    [InlineData("/api/people/hidden-person/progress")]
    public async Task Somebody_who_is_not_listed_is_not_there(string path)
    {
        using var all = await FilledAsync(app);
        using var limited = await app.AsAsync(app.Limited);
        var (status, said) = await limited.SendAsync("GET", path);
        Assert.Equal(HttpStatusCode.NotFound, status);
        var (same, unknown) = await limited.SendAsync("GET", path.Replace("hidden-person", "nobody-at-all", StringComparison.Ordinal));
        Assert.Equal((status, said.Said().Replace("hidden-person", "X", StringComparison.Ordinal)), (same, unknown.Said().Replace("nobody-at-all", "X", StringComparison.Ordinal)));
        await limited.ExpectAsync(HttpStatusCode.OK, "GET", path.Replace("hidden-person", "listed-person", StringComparison.Ordinal));
    }

    [Fact]
    public async Task Nothing_is_written_about_anybody_else()
    {
        using var all = await FilledAsync(app);
        using var limited = await app.AsAsync(app.Limited);
        await limited.ExpectAsync(HttpStatusCode.Created, "POST", "/fhir/Observation", FhirCalls.Weight($"Patient/{Teams.Listed}"));
        var before = (await app.StoreOf("hill").ChangesAfterAsync(0, ["Patient", "Observation"], 10_000)).Count;
        foreach (var (method, path, body, statuses) in new (string, string, string?, HttpStatusCode[])[]
        {
            ("POST", "/fhir/Observation", FhirCalls.Weight($"Patient/{Teams.Hidden}"), [HttpStatusCode.UnprocessableEntity]),
            ("POST", "/fhir/Observation", FhirCalls.Weight($"{TestApp.FhirBase}/Patient/{Teams.Hidden}"), [HttpStatusCode.UnprocessableEntity]),
            ("POST", "/fhir/Patient", FhirCalls.Person("Newcomer"), [HttpStatusCode.Forbidden]),
            ("PUT", $"/fhir/Observation/{Teams.Hidden}-1", FhirCalls.Weight($"Patient/{Teams.Listed}", $"{Teams.Hidden}-1"), [HttpStatusCode.NotFound, HttpStatusCode.MethodNotAllowed]),
            ("DELETE", $"/fhir/Observation/{Teams.Hidden}-1", null, [HttpStatusCode.NotFound, HttpStatusCode.NoContent]),
            ("POST", "/fhir/Patient", FhirCalls.Person("Taken", Teams.Hidden), [HttpStatusCode.Forbidden, HttpStatusCode.Conflict]),
        })
        {
            var (status, said) = await limited.SendAsync(method, path, body, ("If-Match", "W/\"1\""));
            Assert.True(statuses.Contains(status), $"{method} {path}: {(int)status} {said}");
            Assert.DoesNotContain("Hiddenword", said.ToJsonString());
        }

        var (conditional, _) = await limited.SendAsync("POST", "/fhir/Patient", FhirCalls.Person("Any"), ("If-None-Exist", $"identifier={FhirCalls.IdSystem}|{Teams.Hidden}"));
        Assert.Equal(HttpStatusCode.Forbidden, conditional);
        Assert.Equal(before, (await app.StoreOf("hill").ChangesAfterAsync(0, ["Patient", "Observation"], 10_000)).Count);
    }

    [Theory]
    [InlineData("/fhir/Observation?patient.name=Hiddenword")]
    [InlineData("/fhir/Patient?_has:Observation:subject:code:missing=false")]
    [InlineData("/fhir/$export")]
    public async Task What_looks_through_the_whole_record_is_refused(string path)
    {
        using var all = await FilledAsync(app);
        using var limited = await app.AsAsync(app.Limited);
        await limited.ExpectAsync(HttpStatusCode.Forbidden, "GET", path, null, ("Prefer", "respond-async"));
    }

    [Fact]
    public async Task The_list_of_people_is_short_for_the_team()
    {
        using var all = await FilledAsync(app);
        using var team = await app.AsAsync(app.Team);
        var people = (await team.ExpectAsync(HttpStatusCode.OK, "GET", "/api/people")).AsArray();
        Assert.Equal(Teams.Listed, (string)Assert.Single(people)!["id"]!);
    }
}

/// <summary>Secrets of the service.</summary>
public sealed class TokenKeyTests
{
    [Fact]
    public async Task The_token_key_is_made_once_for_the_owner_alone_and_tokens_outlive_a_restart()
    {
        var folder = Directory.CreateTempSubdirectory("rehabrecords-key-").FullName;
        try
        {
            string token;
            await using var keys = new AccessApp();
            await using var first = new AccessApp(keys) { Again = folder };
            await ((IAsyncLifetime)first).InitializeAsync();
            token = await first.TokenAsync(first.Hill);
            var key = Path.Combine(folder, "token-key.pem");
            if (!OperatingSystem.IsWindows())
                Assert.Equal(UnixFileMode.UserRead | UnixFileMode.UserWrite, File.GetUnixFileMode(key));
            var before = await File.ReadAllTextAsync(key);
            await first.DisposeAsync();

            await using var second = new AccessApp(keys) { Again = folder };
            await ((IAsyncLifetime)second).InitializeAsync();
            using var http = second.With(token);
            await http.ExpectAsync(HttpStatusCode.OK, "GET", "/fhir/Patient");
            Assert.Equal(before, await File.ReadAllTextAsync(key));
        }
        finally
        {
            TestEngine.Drop(folder);
        }
    }
}
