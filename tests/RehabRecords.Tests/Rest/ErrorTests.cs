using System.Net;
using System.Net.Sockets;
using System.Text;
using System.Text.Json.Nodes;
using static RehabRecords.Tests.Rest.FhirCalls;

namespace RehabRecords.Tests.Rest;

/// <summary>What every answer carries, and how each face says that something went wrong.</summary>
public sealed class ErrorTests(TestApp app) : IClassFixture<TestApp>
{
    private static readonly string[] Paths = ["/fhir/metadata", "/fhir/Patient/nobody", "/fhir/Nothing", "/api/nothing", "/nothing", "/health/live", "/docs/index.html", "/openapi/v1.json"];

    public static TheoryData<string> EveryKindOfRoute => [.. Paths];

    [Theory]
    [MemberData(nameof(EveryKindOfRoute))]
    public async Task Every_answer_carries_the_protective_headers(string path)
    {
        using var response = await app.Http.GetAsync(path);
        var headers = response.Headers;
        Assert.Equal("nosniff", headers.GetValues("X-Content-Type-Options").Single());
        Assert.Equal("no-referrer", headers.GetValues("Referrer-Policy").Single());
        Assert.Equal("same-origin", headers.GetValues("Cross-Origin-Opener-Policy").Single());
        var policy = headers.GetValues("Content-Security-Policy").Single();
        Assert.Contains("default-src 'none'; script-src 'self';", policy, StringComparison.Ordinal);
        Assert.Contains("frame-ancestors 'none'; base-uri 'none'; form-action 'self'; object-src 'none'", policy, StringComparison.Ordinal);
        Assert.False(headers.Contains("Server"));
        Assert.False(headers.Contains("X-Powered-By"));
        if (!path.StartsWith("/docs", StringComparison.Ordinal))
            Assert.True(headers.CacheControl!.NoStore);
    }

    [Theory]
    [InlineData("my-request.7", true)]
    [InlineData("with space", false)]
    [InlineData("<script>", false)]
    public async Task A_request_id_is_echoed_if_it_is_one(string id, bool echoed)
    {
        using var response = await app.SendAsync("GET", "/Patient/nobody", null, Json, ("X-Request-Id", id));
        Assert.Equal(echoed, response.Headers.GetValues("X-Request-Id").Single() == id);
    }

    [Fact]
    public async Task Outside_the_fhir_face_errors_are_problem_details()
    {
        using var response = await app.Http.GetAsync("/api/nothing-of-the-kind");
        Assert.Equal(HttpStatusCode.NotFound, response.StatusCode);
        Assert.Equal("application/problem+json", response.Content.Headers.ContentType!.MediaType);
        var problem = JsonNode.Parse(response.Text())!;
        Assert.Equal(404, problem["status"]!.GetValue<int>());
        Assert.Equal("Not Found", problem["title"]!.ToString());
        Assert.Contains("/api/nothing-of-the-kind", problem["detail"]!.ToString(), StringComparison.Ordinal);
        Assert.Equal(problem["detail"]!.ToString(), problem["errors"]![0]!["message"]!.ToString());
        Assert.Equal(response.Headers.GetValues("X-Request-Id").Single(), problem["requestId"]!.ToString());
    }

    [Fact]
    public async Task The_service_says_when_it_is_live_and_ready()
    {
        Assert.Equal("live", (await app.GetAsync("/health/live"))["status"]!.ToString());
        // Requests are answered while it warms up.
        await app.GetAsync("/fhir/metadata");
        for (var ready = false; !ready;)
        {
            using var answer = await app.Http.GetAsync("/health/ready");
            Assert.Contains(answer.StatusCode, new[] { HttpStatusCode.OK, HttpStatusCode.ServiceUnavailable });
            ready = answer.StatusCode == HttpStatusCode.OK;
            await Task.Delay(20);
        }

        Assert.Equal("ready", (await app.GetAsync("/health/ready"))["status"]!.ToString());
    }

    [Fact]
    public async Task The_documentation_page_and_the_document_it_shows_are_served()
    {
        using var page = await app.Http.GetAsync("/docs/index.html");
        Assert.Equal(HttpStatusCode.OK, page.StatusCode);
        // The policy allows no inline script, so the page must have none.
        Assert.DoesNotMatch(@"<script(?![^>]*\bsrc=)[^>]*>\s*\S", page.Text());
        var document = await app.GetAsync("/openapi/v1.json");
        Assert.Equal(TestApp.PublicUrl, document["servers"]![0]!["url"]!.ToString());
        Assert.DoesNotContain(document["paths"]!.AsObject(), p => p.Key.StartsWith("/fhir", StringComparison.Ordinal));
    }

    [Theory]
    [InlineData("GET /fhir/Patient HTTP/1.1\r\nHost: a\r\nHost: b\r\n\r\n", 400)]
    [InlineData("GET /fhir/Patient HTTP/1.1\r\n\r\n", 400)]
    [InlineData("NONSENSE\r\n\r\n", 400)]
    [InlineData("POST /fhir/Patient HTTP/1.1\r\nHost: a\r\nContent-Type: application/fhir+json\r\nContent-Length: 5\r\nTransfer-Encoding: chunked\r\nConnection: close\r\n\r\nzzz\r\n", 400)]
    [InlineData("POST /fhir/Patient HTTP/1.1\r\nHost: a\r\nContent-Type: application/fhir+json\r\nTransfer-Encoding: chunked\r\nConnection: close\r\n\r\nzzz\r\n\r\n", 400)]
    [InlineData("POST /fhir/Patient HTTP/1.1\r\nHost: a\r\nContent-Type: application/fhir+json\r\nContent-Length: 20000000\r\nConnection: close\r\n\r\n{", 413)]
    public async Task Requests_that_are_no_http_are_answered_and_the_connection_closed(string request, int status)
    {
        using var socket = new TcpClient();
        await socket.ConnectAsync(app.Address.Host, app.Address.Port);
        var stream = socket.GetStream();
        await stream.WriteAsync(Encoding.ASCII.GetBytes(request));
        using var reader = new StreamReader(stream, Encoding.ASCII);
        var answer = await reader.ReadToEndAsync().WaitAsync(TimeSpan.FromSeconds(20));
        Assert.StartsWith($"HTTP/1.1 {status}", answer, StringComparison.Ordinal);
        Assert.DoesNotContain("Exception", answer, StringComparison.Ordinal);
        await app.GetAsync("/health/live");
    }
}
