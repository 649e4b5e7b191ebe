using System.Net;
using System.Text.Json.Nodes;
using RehabRecords.Tests.Fhir.Store;

namespace RehabRecords.Tests.Rest;

public sealed class DatabaseAwayTests
{
    [OnPostgresql]
    public async Task While_the_database_is_away_each_face_says_so_in_its_own_words_and_afterwards_the_service_goes_on()
    {
        using var proxy = new CuttingProxy(TestEngine.Connection);
        var file = Path.GetTempFileName();
        await File.WriteAllTextAsync(file, proxy.Connection);
        var app = new TestApp { Settings = new() { ["RehabRecords:Store:ConnectionFile"] = file } };
        try
        {
            await GoesAwayAndComesBackAsync(app.Http, proxy);
        }
        finally
        {
            await ((IAsyncLifetime)app).DisposeAsync();
            File.Delete(file);
        }
    }

    private static async Task GoesAwayAndComesBackAsync(HttpClient http, CuttingProxy proxy)
    {
        // It is ready when it is warm, which takes a while.
        for (var tries = 0; (await http.GetAsync("/health/ready")).StatusCode != HttpStatusCode.OK; tries++)
        {
            Assert.True(tries < 600, "It never became ready.");
            await Task.Delay(100);
        }

        using var made = await http.PostAsync("/fhir/Patient", Person(null));
        Assert.Equal(HttpStatusCode.Created, made.StatusCode);
        var id = (string)JsonNode.Parse(await made.Content.ReadAsStringAsync())!["id"]!;

        proxy.Down = true;
        foreach (var path in new[] { "/fhir/Patient", $"/fhir/Patient/{id}", "/fhir/Patient/_history" })
        {
            using var answer = await http.GetAsync(path);
            var said = await answer.Content.ReadAsStringAsync();
            Assert.True(answer is { StatusCode: HttpStatusCode.ServiceUnavailable, Headers.RetryAfter: not null }, $"GET {path} answered {(int)answer.StatusCode}: {said}");
            var outcome = JsonNode.Parse(said)!;
            Assert.Equal(("OperationOutcome", "transient"), ((string)outcome["resourceType"]!, (string)outcome["issue"]![0]!["code"]!));
        }

        using (var answer = await http.PostAsync("/fhir/Patient", Person(null)))
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
        Assert.Equal(HttpStatusCode.OK, (await http.GetAsync($"/fhir/Patient/{id}")).StatusCode);
        using var change = new HttpRequestMessage(HttpMethod.Put, $"/fhir/Patient/{id}") { Content = Person(id) };
        change.Headers.TryAddWithoutValidation("If-Match", "W/\"1\"");
        Assert.Equal(HttpStatusCode.OK, (await http.SendAsync(change)).StatusCode);
    }

    private static StringContent Person(string? id)
    {
        var person = new JsonObject { ["resourceType"] = "Patient", ["name"] = new JsonArray(new JsonObject { ["family"] = id ?? "Example" }) };
        if (id is not null)
            person["id"] = id;
        return TestApp.Json(person, "application/fhir+json");
    }
}
