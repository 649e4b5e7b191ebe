using Microsoft.AspNetCore.Mvc;
using RehabRecords.Access;
using RehabRecords.Fhir;
using RehabRecords.Host;
using RehabRecords.Rest.Conformance;
using RehabRecords.Rest.Operations;

namespace RehabRecords.Rest;

/// <summary>The routes of the FHIR face, one set for each type of the registry and what the registry offers for it.</summary>
internal static class RestEndpoints
{
    private static readonly string[] Get = ["GET", "HEAD"];
    private static readonly string[] Post = ["POST"];
    private static readonly string[] Put = ["PUT"];
    private static readonly string[] Patch = ["PATCH"];
    private static readonly string[] Delete = ["DELETE"];

    public static void MapRest(this IEndpointRouteBuilder app)
    {
        var fhir = app.MapGroup("/fhir").ExcludeFromDescription();
        var bundles = new RequestSizeLimitAttribute(app.ServiceProvider.GetRequiredService<Settings>().Limits.BundleBytes);

        Map(fhir, "", "/metadata", Get, Metadata.AnswerAsync);
        Map(fhir, "", "/", Get, ReadEndpoints.SearchAcrossAsync);
        Map(fhir, "", "/_search", Post, ReadEndpoints.SearchAcrossByPostAsync);
        Map(fhir, "Patient", "/Patient/{id}/{type}", Get, ReadEndpoints.SearchInRecordAsync);
        Map(fhir, "", "/", Post, BundleEndpoint.ExecuteAsync).WithMetadata(bundles);
        Map(fhir, "", "/_history", Get, ReadEndpoints.HistoryAsync);

        foreach (var kind in app.ServiceProvider.GetRequiredService<ResourceRegistry>().Kinds)
        {
            var (type, one) = (kind.Type, $"/{kind.Type}/{{id}}");
            foreach (var (interaction, path, methods, answer) in new (Interactions, string, string[], Func<Call, Task<IResult>>)[]
            {
                (Interactions.Read, one, Get, ReadEndpoints.ReadAsync),
                (Interactions.VersionRead, one + "/_history/{version}", Get, ReadEndpoints.VersionAsync),
                (Interactions.History, one + "/_history", Get, ReadEndpoints.HistoryAsync),
                (Interactions.TypeHistory, $"/{type}/_history", Get, ReadEndpoints.HistoryAsync),
                (Interactions.Search, $"/{type}", Get, ReadEndpoints.SearchAsync),
                (Interactions.Search, $"/{type}/_search", Post, ReadEndpoints.SearchByPostAsync),
                (Interactions.Create, $"/{type}", Post, WriteEndpoints.CreateAsync),
                (Interactions.Update, one, Put, WriteEndpoints.UpdateAsync),
                (Interactions.Patch, one, Patch, WriteEndpoints.PatchAsync),
                (Interactions.Delete, one, Delete, WriteEndpoints.DeleteAsync),
                (Interactions.ConditionalUpdate, $"/{type}", Put, WriteEndpoints.UpdateAsync),
                (Interactions.Patch, $"/{type}", Patch, WriteEndpoints.PatchAsync),
                (Interactions.ConditionalDelete, $"/{type}", Delete, WriteEndpoints.DeleteAsync),
            })
            {
                if (!kind.Offers(interaction))
                    continue;
                var route = Map(fhir, type, path, methods, answer);
                // A Bundle is longer than a single resource may be.
                if (type == "Bundle")
                    route.WithMetadata(bundles);
            }
        }

        foreach (var (type, _) in DefinitionKinds.All)
        {
            Map(fhir, type, $"/{type}/{{id}}", Get, DefinitionEndpoints.ReadAsync);
            Map(fhir, type, $"/{type}", Get, DefinitionEndpoints.SearchAsync);
            Map(fhir, type, $"/{type}/_search", Post, DefinitionEndpoints.SearchByPostAsync);
        }

        foreach (var operation in app.ServiceProvider.GetServices<Operation>())
        {
            foreach (var (type, path) in operation.Places(app.ServiceProvider.GetRequiredService<ResourceRegistry>()))
            {
                var route = Map(fhir, type, path, [.. operation.Methods], call =>
                {
                    ResourceAccess.Require(call.Need<Calling>(), operation, call.Type);
                    return operation.AnswerAsync(call);
                });
                if (operation.TakesBundle && type is "" or "Bundle")
                    route.WithMetadata(bundles);
            }
        }
    }

    // A plain delegate: nothing is bound from the request, so nothing has to be compiled for each of the routes at start.
    private static IEndpointConventionBuilder Map(RouteGroupBuilder fhir, string type, string path, string[] methods, Func<Call, Task<IResult>> answer) =>
        fhir.MapMethods(path, methods, async http =>
        {
            try
            {
                await (await answer(new Call(http, type))).ExecuteAsync(http);
            }
            catch (RefusedException refused) when (refused.Refusal == Refusal.NotAllowed)
            {
                http.Response.Headers.Allow = string.Join(", ", OthersAt(http));
                throw;
            }
        });

    // A method that the type offers may still be refused for one resource; then the caller is told what else there is.
    private static IEnumerable<string> OthersAt(HttpContext http)
    {
        var here = ((RouteEndpoint)http.GetEndpoint()!).RoutePattern.RawText;
        return http.RequestServices.GetRequiredService<EndpointDataSource>().Endpoints.OfType<RouteEndpoint>()
            .Where(e => e.RoutePattern.RawText == here)
            .SelectMany(e => e.Metadata.GetMetadata<HttpMethodMetadata>()?.HttpMethods ?? [])
            .Where(method => method != http.Request.Method).Distinct(StringComparer.Ordinal);
    }
}
