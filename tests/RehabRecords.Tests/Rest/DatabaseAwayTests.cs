using System.Net;
using System.Text.Json.Nodes;
using RehabRecords.Tests.Fhir.Store;

namespace RehabRecords.Tests.Rest;

public sealed class DatabaseAwayTests : IAsyncLifetime
{
    private readonly string _file = Path.GetTempFileName();
    private CuttingProxy? _proxy;
    private TestApp? _app;

    public async Task InitializeAsync()
    {
        if (!TestEngine.IsPostgresql)
            return;
        _proxy = new CuttingProxy(TestEngine.Connection);
        await File.WriteAllTextAsync(_file, _proxy.Connection);
        _app = new TestApp { Settings = new() { ["RehabRecords:Store:ConnectionFile"] = _file } };
    }

    public async Task DisposeAsync()
    {
        if (_app is IAsyncLifetime app)
            await app.DisposeAsync();
        _proxy?.Dispose();
        File.Delete(_file);
    }

    [OnPostgresql]
    public async Task While_the_database_is_away_each_face_says_so_in_its_own_words_and_afterwards_the_service_goes_on()
    {
        var (http, proxy) = (_app!.Http, _proxy!);
        Assert.Equal(HttpStatusCode.OK, (await http.GetAsync("/health/ready")).StatusCode);
        Assert.Equal(HttpStatusCode.Created, (await PutAsync(http)).StatusCode);

        proxy.Down = true;
        foreach (var path in new[] { "/fhir/Patient", "/fhir/Patient/away", "/fhir/Patient/_history" })
        {
            using var answer = await http.GetAsync(path);
            Assert.Equal((HttpStatusCode.ServiceUnavailable, true), (answer.StatusCode, answer.Headers.RetryAfter is not null));
            var outcome = JsonNode.Parse(await answer.Content.ReadAsStringAsync())!;
            Assert.Equal(("OperationOutcome", "transient"), ((string)outcome["resourceType"]!, (string)outcome["issue"]![0]!["code"]!));
        }

        using (var answer = await PutAsync(http))
            Assert.Equal((HttpStatusCode.ServiceUnavailable, true), (answer.StatusCode, answer.Headers.RetryAfter is not null));
        using (var answer = await http.GetAsync("/api/people/away"))
        {
            Assert.Equal((HttpStatusCode.ServiceUnavailable, "application/problem+json"), (answer.StatusCode, answer.Content.Headers.ContentType!.MediaType));
            Assert.NotNull(answer.Headers.RetryAfter);
        }

        Assert.Equal(HttpStatusCode.ServiceUnavailable, (await http.GetAsync("/health/ready")).StatusCode);
        Assert.Equal(HttpStatusCode.OK, (await http.GetAsync("/health/live")).StatusCode);

        proxy.Down = false;
        Assert.Equal(HttpStatusCode.OK, (await http.GetAsync("/health/ready")).StatusCode);
        Assert.Equal(HttpStatusCode.OK, (await http.GetAsync("/fhir/Patient/away")).StatusCode);
        Assert.Equal(HttpStatusCode.OK, (await PutAsync(http, version: 1)).StatusCode);
    }

    private static Task<HttpResponseMessage> PutAsync(HttpClient http, int version = 0)
    {
        var request = new HttpRequestMessage(HttpMethod.Put, "/fhir/Patient/away")
        {
            Content = TestApp.Json(new JsonObject { ["resourceType"] = "Patient", ["id"] = "away", ["name"] = new JsonArray(new JsonObject { ["family"] = $"Example {version}" }) }, "application/fhir+json"),
        };
        if (version > 0)
            request.Headers.TryAddWithoutValidation("If-Match", $"W/\"{version}\"");
        return http.SendAsync(request);
    }
}
