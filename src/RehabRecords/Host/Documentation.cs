using Microsoft.OpenApi;

namespace RehabRecords.Host;

/// <summary>The OpenAPI document of /api and the page that shows it.</summary>
internal static class Documentation
{
    public static void AddDocumentation(this IServiceCollection services, Settings settings) => services.AddOpenApi(options =>
        options.AddDocumentTransformer((document, _, _) =>
        {
            document.Info = new OpenApiInfo
            {
                Title = "RehabRecords",
                Version = "0.1.0",
                Description = "Home programmes for the arm and hand after stroke: record what was practised, get a draft progress note back. "
                    + "Errors are problem details (RFC 9457) with a list of fields. The same record is served as FHIR R4 under /fhir.",
            };
            // From the settings, never from the Host header of whoever asks.
            document.Servers = [new OpenApiServer { Url = settings.PublicUrl }];
            return Task.CompletedTask;
        }));

    public static void MapDocumentation(this WebApplication app)
    {
        app.MapOpenApi();
        app.UseSwaggerUI(page =>
        {
            page.RoutePrefix = "docs";
            page.DocumentTitle = "RehabRecords";
            page.SwaggerEndpoint("/openapi/v1.json", "RehabRecords");
        });
    }
}
