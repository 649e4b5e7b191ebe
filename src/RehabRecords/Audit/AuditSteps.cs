using RehabRecords.Access;
using RehabRecords.Fhir.Validation;
using RehabRecords.Host;
using RehabRecords.Retention;

namespace RehabRecords.Audit;

/// <summary>Notes every access to a person's record before it is answered.</summary>
internal static class AuditSteps
{
    public static void AddAudit(this IServiceCollection services)
    {
        services.AddScoped<Witness>();
        services.AddSingleton<AuditTrail>();
        services.AddHostedService(s => s.GetRequiredService<AuditTrail>());
        services.AddScoped(s => new RecordWriter(
            s.GetRequiredService<Fhir.Store.RecordStore>(),
            s.GetRequiredService<ResourceValidator>(),
            set =>
            {
                LegalHold.Guard(set, s.GetRequiredService<Calling>);
                if (s.GetRequiredService<Settings>().AuditIsOn)
                    s.GetRequiredService<Witness>().Attest(set);
            },
            s.GetRequiredService<Settings>().FhirBase));
    }

    public static void UseAudit(this WebApplication app)
    {
        if (!app.Services.GetRequiredService<Settings>().AuditIsOn)
            return;
        app.Use(async (context, next) =>
        {
            var calling = context.RequestServices.GetRequiredService<Calling>();
            if (context.GetEndpoint() is null || !calling.IsKnown)
            {
                await next(context);
                return;
            }

            var witness = context.RequestServices.GetRequiredService<Witness>();
            witness.Begin(context, calling.Caller);
            var noted = new HashSet<string>(StringComparer.Ordinal);
            context.Response.OnStarting(() => NoteAsync(context, calling.Caller, witness, noted));
            await next(context);
            // What a stream gave out after its beginning.
            if (context.Response.HasStarted && witness.People.Any(p => !noted.Contains(p)))
                await NoteAsync(context, calling.Caller, witness, noted);
        });
    }

    private static async Task NoteAsync(HttpContext context, Caller caller, Witness witness, HashSet<string> noted)
    {
        var refused = context.Response.StatusCode == StatusCodes.Status403Forbidden;
        // The whole record is copied past the store's own reads.
        if (context.Response.StatusCode < 300 && context.GetEndpoint() is RouteEndpoint { RoutePattern.RawText: "/api/people/{id}/record" })
            witness.Saw([(string)context.Request.RouteValues["id"]!]);
        var people = witness.People.Where(noted.Add).ToList();
        var isRead = HttpMethods.IsGet(context.Request.Method) || HttpMethods.IsHead(context.Request.Method);
        var underFhir = context.Request.Path.StartsWithSegments("/fhir", StringComparison.Ordinal);
        // A write left its own event in its own transaction; a batch may read besides.
        if (!refused && (people.Count == 0 || (witness.HasWritten && !isRead && !IsBatch(context))) && !IsEmptySearch(context, underFhir) && !IsExport(context))
            return;
        if (context.Response.StatusCode >= 500)
            return;
        await context.RequestServices.GetRequiredService<AuditTrail>().NoteAsync(
            caller.Organisation,
            new NotedAccess(
                Guid.CreateVersion7().ToString("D"), context.RequestServices.GetRequiredService<TimeProvider>().GetUtcNow(), RequestOf(context), people,
                refused ? null : ReadOf(context, witness, isRead, underFhir), refused ? "Refused: the caller has not the right to this." : null, witness.RequestId, witness.Address, witness.Who),
            CancellationToken.None);
    }

    private static bool IsBatch(HttpContext context) => ((RouteEndpoint)context.GetEndpoint()!).RoutePattern.RawText?.Trim('/') == "fhir";

    /// <summary>That nobody was found is told of somebody too.</summary>
    private static bool IsEmptySearch(HttpContext context, bool underFhir) =>
        underFhir && context.Response.StatusCode == 200 && ((RouteEndpoint)context.GetEndpoint()!).RoutePattern.RawText is { } route
        && (route.EndsWith("_search", StringComparison.Ordinal) || (HttpMethods.IsGet(context.Request.Method) && route.Count(c => c == '/') <= 2 && !route.EndsWith("metadata", StringComparison.Ordinal)));

    /// <summary>Everybody's record at once: told when it is asked for, and with each file that is fetched.</summary>
    private static bool IsExport(HttpContext context) =>
        context.Response.StatusCode < 300 && ((RouteEndpoint)context.GetEndpoint()!).RoutePattern.RawText is { } route
        && (route.EndsWith("$export", StringComparison.Ordinal) || route.EndsWith("bulk/{job}/{file}", StringComparison.Ordinal));

    /// <summary>Of a link from home the address is a key, which nobody may read in the trail.</summary>
    private static string RequestOf(HttpContext context) =>
        $"{context.Request.Method} {(context.Request.Path.StartsWithSegments("/home", StringComparison.Ordinal) ? "/home/…" : context.Request.Path + context.Request.QueryString)}";

    private static string? ReadOf(HttpContext context, Witness witness, bool isRead, bool underFhir) =>
        isRead && underFhir && witness.First is { } first && context.Request.RouteValues["id"] is string id && id == first.Id
        && ((RouteEndpoint)context.GetEndpoint()!).RoutePattern.RawText is { } route && (route.EndsWith("{id}", StringComparison.Ordinal) || route.EndsWith("{version}", StringComparison.Ordinal))
            ? first.VersionedAddress : null;
}
