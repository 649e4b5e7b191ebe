namespace RehabRecords.RecordExport;

internal static class RecordEndpoints
{
    private const int HeldBack = 64 * 1024;

    public static void AddRecordExport(this IServiceCollection services) => services.AddScoped<ExportRecord>();

    public static void MapRecordExport(this IEndpointRouteBuilder routes) =>
        routes.MapGet("/api/people/{id}/record", GetAsync).WithTags("People").WithSummary("Export the whole record of a person")
            .WithDescription("A zip: every version of everything about the person as FHIR NDJSON, deletions too, with what it refers to, the documents as pages and as FHIR document "
                + "Bundles, a manifest with SHA-256 of each file, and a readme in plain words. All of it is of one moment; it is streamed, and one that was cut off cannot be opened. "
                + "`verify-record` checks it, `import-record` rebuilds the record in an empty store.")
            .Produces<Stream>(200, RecordZip.MediaType).ProducesProblem(404).ProducesProblem(503);

    private static async Task GetAsync(string id, ExportRecord exports, HttpContext http, CancellationToken ct)
    {
        using var export = await exports.BeginAsync(id, ct);
        http.Response.ContentType = RecordZip.MediaType;
        http.Response.Headers.ContentDisposition = $"attachment; filename=\"record-{id}-{export.At.UtcDateTime:yyyyMMdd-HHmmss}.zip\"";
        http.Response.Headers.CacheControl = "no-store";
        http.Response.Headers["X-Record-Versions"] = export.Versions.ToString(System.Globalization.CultureInfo.InvariantCulture);
        try
        {
            // Of the first bytes, so that a failure soon after the beginning is told as one. Not disposed: that would send what was begun.
            var to = new BufferedStream(http.Response.BodyWriter.AsStream(), HeldBack);
            await export.WriteAsync(to, ct);
            await to.FlushAsync(ct);
        }
        catch when (http.Response.HasStarted)
        {
            // An orderly end would look like a whole file to the reader.
            http.Abort();
            throw;
        }
    }
}
