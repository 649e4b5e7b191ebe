using System.Text.Json.Nodes;
using Microsoft.AspNetCore.OpenApi;
using Microsoft.OpenApi;

namespace RehabRecords.Trade;

/// <summary>Puts into the OpenAPI document what the types of a route cannot say: worked examples and the idempotency key.</summary>
internal static class RouteDocumentation
{
    public static void AddRouteDocumentation(this IServiceCollection services) =>
        services.Configure<OpenApiOptions>("v1", options => options.AddOperationTransformer((operation, context, _) =>
        {
            var metadata = context.Description.ActionDescriptor.EndpointMetadata;
            if (metadata.OfType<TakesIdempotencyKey>().Any())
                (operation.Parameters ??= []).Add(new OpenApiParameter
                {
                    Name = "Idempotency-Key",
                    In = ParameterLocation.Header,
                    Description = $"Any key of the client's own, 1 to {PostedBody.MaxKeyLength} printable characters. The same key with the same body answers the first result and stores nothing; "
                        + "with another body it is refused (422).",
                    Schema = new OpenApiSchema { Type = JsonSchemaType.String, MinLength = 1, MaxLength = PostedBody.MaxKeyLength },
                });
            if (metadata.OfType<RouteExample>().FirstOrDefault() is { } example)
                Show(operation, example.Name);
            return Task.CompletedTask;
        }));

    private static void Show(OpenApiOperation operation, string name)
    {
        foreach (var media in operation.RequestBody?.Content?.Values ?? [])
            media.Example = Example($"{name}.request.json");
        foreach (var (status, response) in operation.Responses ?? [])
            if (status.StartsWith('2'))
                foreach (var media in response.Content?.Values ?? [])
                    media.Example = Example($"{name}.answer.json");
    }

    /// <summary>The examples are the files under examples/api, which the tests post and compare.</summary>
    private static JsonNode? Example(string file)
    {
        using var stream = typeof(RouteDocumentation).Assembly.GetManifestResourceStream($"examples/api/{file}")
            ?? throw new InvalidOperationException($"examples/api/{file} is not built into the program.");
        return JsonNode.Parse(stream);
    }
}
