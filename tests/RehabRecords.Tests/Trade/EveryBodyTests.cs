using System.Text;
using System.Text.RegularExpressions;
using Microsoft.AspNetCore.Routing;
using RehabRecords.Tests.Rest;

namespace RehabRecords.Tests.Trade;

/// <summary>Every route that takes a body reads it by the same code: none fails at one that no reader can make text of.</summary>
public sealed partial class EveryBodyTests(TestApp app) : IClassFixture<TestApp>
{
    private static readonly string[] Types = ["application/json; charset=nonsense", "application/json", FhirCalls.Json, "application/json-patch+json", "application/x-www-form-urlencoded; charset=nonsense", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x", "multipart/form-data"];

    private static readonly byte[][] Bodies =
    [
        "{}"u8.ToArray(), "[{\"op\":\"remove\",\"pa\\ud800th\":\"/x\"}]"u8.ToArray(), "{ \"a\\udfff\": 1 }"u8.ToArray(), [.. "{ \"na"u8, 0xAC, .. "me\": \"x\" }"u8], [.. "{ \"name\": \""u8, 0xC3, 0x28, .. "\" }"u8],
        "a=%ff%fe&%c3=%00&=&a"u8.ToArray(), Encoding.ASCII.GetBytes(string.Join('&', Enumerable.Range(0, 3_000).Select(i => $"a{i}=1"))), "--x\r\nContent-Disposition: form-data; name=\"a\r\n\r\n"u8.ToArray(),
    ];

    [Fact]
    public async Task A_body_that_is_no_text_or_of_an_unknown_charset_is_refused_or_taken_by_every_route_and_fails_at_none()
    {
        var routes = app.Service<EndpointDataSource>().Endpoints.OfType<RouteEndpoint>()
            .SelectMany(e => (e.Metadata.GetMetadata<HttpMethodMetadata>()?.HttpMethods ?? []).Where(m => m is "POST" or "PUT" or "PATCH").Select(method => (method, Path: Parameter().Replace(e.RoutePattern.RawText ?? "", "x"))))
            .Distinct().ToList();
        Assert.True(routes.Count > 150, $"{routes.Count} routes");
        var before = app.State();
        var failed = new List<string>();
        foreach (var (method, path) in routes)
            foreach (var type in Types)
                foreach (var body in Bodies)
                {
                    using var request = new HttpRequestMessage(new HttpMethod(method), "/" + path.TrimStart('/')) { Content = new ByteArrayContent(body), Headers = { { "If-Match", "W/\"1\"" } } };
                    request.Content.Headers.TryAddWithoutValidation("Content-Type", type);
                    using var response = await app.Http.SendAsync(request);
                    if ((int)response.StatusCode >= 500)
                        failed.Add($"{method} {path}, {type}, {Encoding.Latin1.GetString(body[..Math.Min(body.Length, 60)])}: {(int)response.StatusCode}");
                }
        Assert.True(failed.Count == 0, string.Join('\n', failed));
        Assert.Equal(before, app.State());
    }

    [GeneratedRegex(@"\{[^}]+\}")]
    private static partial Regex Parameter();
}
