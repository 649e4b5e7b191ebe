using RehabRecords.Tests.Fhir.Parsing;

namespace RehabRecords.Tests;

/// <summary>Looks at every XML answer that any test gets from the service, with the official schemas of R4.</summary>
internal sealed class CheckedXml(HttpMessageHandler inner) : DelegatingHandler(inner)
{
    private static int _seen;

    /// <summary>Bodies checked in this run so far.</summary>
    public static int Seen => _seen;

    protected override async Task<HttpResponseMessage> SendAsync(HttpRequestMessage request, CancellationToken cancellationToken)
    {
        var response = await base.SendAsync(request, cancellationToken);
        if (response.Content.Headers.ContentType?.MediaType is not ("application/fhir+xml" or "application/xml" or "text/xml"))
            return response;
        var body = await response.Content.ReadAsByteArrayAsync(cancellationToken);
        if (body.Length == 0)
            return response;
        var problems = OfficialSchemas.Problems(body);
        Assert.True(problems.Count == 0, $"{request.Method} {request.RequestUri?.PathAndQuery} answered XML that the official schemas refuse: {string.Join("; ", problems.Take(5))}");
        Interlocked.Increment(ref _seen);
        return response;
    }
}
