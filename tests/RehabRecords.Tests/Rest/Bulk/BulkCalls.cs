using System.Net;
using System.Text.Json.Nodes;

namespace RehabRecords.Tests.Rest.Bulk;

/// <summary>The steps of a bulk export.</summary>
internal static class BulkCalls
{
    public static string PathOf(string address) => address[TestApp.FhirBase.Length..];

    public static async Task<(JsonNode Manifest, HttpResponseMessage Answer)> ExportAsync(TestApp app, string path)
    {
        using var asked = await app.SendAsync("GET", path, headers: ("Prefer", "respond-async"));
        Assert.True(asked.StatusCode == HttpStatusCode.Accepted, asked.Text());
        return await ManifestAsync(app, asked.Content.Headers.ContentLocation!.ToString());
    }

    /// <summary>Asks until it is done; each answer before that says how far it is and when to ask again.</summary>
    public static async Task<(JsonNode Manifest, HttpResponseMessage Answer)> ManifestAsync(TestApp app, string address)
    {
        for (var tries = 0; tries < 300; tries++)
        {
            var answer = await app.SendAsync("GET", PathOf(address), headers: ("Accept", "application/json"));
            if (answer.StatusCode == HttpStatusCode.OK)
            {
                Assert.Equal("application/json", answer.Content.Headers.ContentType?.MediaType);
                return (JsonNode.Parse(answer.Text())!, answer);
            }

            Assert.True(answer.StatusCode is HttpStatusCode.Accepted or HttpStatusCode.TooManyRequests, answer.Text());
            if (answer.StatusCode == HttpStatusCode.Accepted)
                Assert.InRange(answer.Headers.GetValues("X-Progress").Single().Length, 1, 99);
            Assert.NotNull(answer.Headers.RetryAfter);
            answer.Dispose();
            await Task.Delay(150);
        }

        throw new TimeoutException("The export was not done in 45 s.");
    }

    public static async Task<string[]> LinesAsync(TestApp app, JsonNode file)
    {
        using var answer = await app.SendAsync("GET", PathOf((string)file["url"]!));
        Assert.Equal("application/fhir+ndjson", answer.Content.Headers.ContentType?.MediaType);
        return answer.Text().Split('\n', StringSplitOptions.RemoveEmptyEntries);
    }
}
