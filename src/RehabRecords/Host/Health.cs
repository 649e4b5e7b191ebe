using RehabRecords.Access;

namespace RehabRecords.Host;

/// <summary>
/// Whether the process runs (live) and whether it is warm (ready). Requests are answered before that too, since whatever they need of the
/// definitions is loaded for them; somebody who can choose between instances chooses a warm one.
/// </summary>
internal static class Health
{
    private const string Folder = "/health";

    public static void MapHealth(this IEndpointRouteBuilder app)
    {
        var health = app.MapGroup(Folder).ExcludeFromDescription();
        health.MapMethods("/live", ["GET", "HEAD"], static (HttpContext http) => http.Response.WriteAsJsonAsync(new { status = "live" }));
        health.MapMethods("/ready", ["GET", "HEAD"], static async (HttpContext http) =>
        {
            var loaded = http.RequestServices.GetRequiredService<StartUp>().Ready.IsCompletedSuccessfully;
            var ready = loaded && await http.RequestServices.GetRequiredService<Stores>().AreReachableAsync(http.RequestAborted);
            http.Response.StatusCode = ready ? StatusCodes.Status200OK : StatusCodes.Status503ServiceUnavailable;
            await http.Response.WriteAsJsonAsync(new { status = ready ? "ready" : loaded ? "the record cannot be reached" : "loading definitions" });
        });
    }
}
