using RehabRecords.Pages.Received;

namespace RehabRecords.Host;

/// <summary>Headers every answer carries, errors included.</summary>
internal static class Headers
{
    public const string RequestId = "X-Request-Id";

    // Pages of this service load nothing from elsewhere. The documentation page sets inline styles on its own elements.
    private const string Policy =
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; worker-src 'self'; "
        + "frame-ancestors 'none'; base-uri 'none'; form-action 'self'; object-src 'none'";

    private const string DocsPolicy =
        "default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data:; connect-src 'self'; "
        + "frame-ancestors 'none'; base-uri 'none'; form-action 'self'; object-src 'none'";

    public static IApplicationBuilder UseStandardHeaders(this IApplicationBuilder app, Settings settings)
    {
        if (settings.PublicUrl.StartsWith("https:", StringComparison.Ordinal))
            app.Use(static (context, next) =>
            {
                context.Response.OnStarting(static state =>
                {
                    ((HttpResponse)state).Headers.StrictTransportSecurity = "max-age=31536000";
                    return Task.CompletedTask;
                }, context.Response);
                return next(context);
            });
        return app.Use(AddHeaders);
    }

    private static Task AddHeaders(HttpContext context, RequestDelegate next)
    {
        var id = GivenId(context.Request) ?? Guid.CreateVersion7().ToString("N");
        context.TraceIdentifier = id;
        // Set when the answer starts, because the error handler clears the headers set before it.
        context.Response.OnStarting(static state =>
        {
            var http = (HttpContext)state;
            var headers = http.Response.Headers;
            headers[RequestId] = http.TraceIdentifier;
            headers.ContentSecurityPolicy = PolicyOf(http.Request.Path);
            headers.XContentTypeOptions = "nosniff";
            headers["Referrer-Policy"] = "no-referrer";
            headers["Cross-Origin-Opener-Policy"] = "same-origin";
            headers["Cross-Origin-Resource-Policy"] = "same-origin";
            // What is served is about people's health: no copy stays behind in a shared cache.
            if (headers.CacheControl.Count == 0)
                headers.CacheControl = "no-store";
            return Task.CompletedTask;
        }, context);
        return next(context);
    }

    /// <summary>Two kinds of pages need another one: the documentation, and words of another team with the page that frames them.</summary>
    private static string PolicyOf(PathString path) =>
        path.StartsWithSegments("/docs", StringComparison.Ordinal) ? DocsPolicy
        : !path.StartsWithSegments(ReceivedEndpoints.Path, StringComparison.Ordinal) ? Policy
        : path.Value!.EndsWith("/" + ReceivedEndpoints.Words, StringComparison.Ordinal) ? ForeignText.Policy : Policy + "; frame-src 'self'";

    // A caller's id is echoed, and written to the log, only if it cannot carry anything but an id.
    private static string? GivenId(HttpRequest request)
    {
        var given = request.Headers[RequestId].ToString();
        return given.Length is > 0 and <= 64 && given.All(c => char.IsAsciiLetterOrDigit(c) || c is '-' or '.' or '_') ? given : null;
    }
}
