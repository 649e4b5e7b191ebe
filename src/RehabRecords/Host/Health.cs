namespace RehabRecords.Host;

/// <summary>Whether the process runs (live) and whether it can take requests (ready).</summary>
internal static class Health
{
    private const string Folder = "/health";

    public static void MapHealth(this IEndpointRouteBuilder app)
    {
        var health = app.MapGroup(Folder).ExcludeFromDescription();
        health.MapMethods("/live", ["GET", "HEAD"], static (HttpContext http) => http.Response.WriteAsJsonAsync(new { status = "live" }));
        health.MapMethods("/ready", ["GET", "HEAD"], static (HttpContext http) =>
        {
            var ready = http.RequestServices.GetRequiredService<StartUp>().Ready.IsCompletedSuccessfully;
            http.Response.StatusCode = ready ? StatusCodes.Status200OK : StatusCodes.Status503ServiceUnavailable;
            return http.Response.WriteAsJsonAsync(new { status = ready ? "ready" : "loading definitions" });
        });
    }

    /// <summary>Requests that come while definitions are loaded wait the second it takes, rather than fail.</summary>
    public static IApplicationBuilder UseReadiness(this IApplicationBuilder app)
    {
        var start = app.ApplicationServices.GetRequiredService<StartUp>();
        return app.Use((context, next) => start.Ready.IsCompletedSuccessfully || context.Request.Path.StartsWithSegments(Folder, StringComparison.Ordinal)
            ? next(context)
            : AfterStartAsync(context, next));

        async Task AfterStartAsync(HttpContext context, RequestDelegate next)
        {
            await start.Ready.WaitAsync(context.RequestAborted);
            await next(context);
        }
    }
}
