using System.Text.Json.Serialization;
using RehabRecords.Fhir;
using RehabRecords.Host;

namespace RehabRecords.Access;

/// <summary>What a system needs to know before it asks for a token, as SMART App Launch has it: the members of a service without app launch.</summary>
internal static class SmartConfiguration
{
    public static void MapSmartConfiguration(this IEndpointRouteBuilder app)
    {
        foreach (var place in (ReadOnlySpan<string>)["/.well-known/smart-configuration", "/fhir/.well-known/smart-configuration"])
            app.MapMethods(place, ["GET", "HEAD"], static (HttpContext http, Settings settings, ResourceRegistry registry) =>
            {
                http.Response.Headers.CacheControl = "public, max-age=300";
                return Results.Json(Of(settings, registry), contentType: "application/json");
            }).ExcludeFromDescription();
    }

    private static Configuration Of(Settings settings, ResourceRegistry registry) => new(
        settings.PublicUrl + TokenServer.TokenPath,
        ["client_credentials"],
        ["private_key_jwt"],
        Assertions.Algorithms,
        ["system/*.cruds", "system/*.rs", .. registry.Kinds.Select(k => $"system/{k.Type}.cruds"), "api/*", .. Enum.GetValues<Act>().Where(a => RoleTable.Allows(Role.System, a) && a is not (Act.WriteResources or Act.ReadAudit)).Select(a => $"api/{RoleTable.Word(a)}")],
        ["client-confidential-asymmetric", "permission-v2"]);

    private sealed record Configuration(
        [property: JsonPropertyName("token_endpoint")] string TokenEndpoint,
        [property: JsonPropertyName("grant_types_supported")] IReadOnlyList<string> Grants,
        [property: JsonPropertyName("token_endpoint_auth_methods_supported")] IReadOnlyList<string> Methods,
        [property: JsonPropertyName("token_endpoint_auth_signing_alg_values_supported")] IReadOnlyList<string> Algorithms,
        [property: JsonPropertyName("scopes_supported")] IReadOnlyList<string> Scopes,
        [property: JsonPropertyName("capabilities")] IReadOnlyList<string> Capabilities);
}
