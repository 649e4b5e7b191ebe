namespace RehabRecords.Trade;

/// <summary>What the OpenAPI document says of a route beyond its types.</summary>
internal static class RouteWords
{
    /// <summary>A post that answers <typeparamref name="T"/>, or a problem that lists every fault.</summary>
    public static RouteHandlerBuilder Answers<T>(this RouteHandlerBuilder route, int status) => route
        .Produces<T>(status, "application/json")
        .ProducesProblem(StatusCodes.Status400BadRequest)
        .ProducesProblem(StatusCodes.Status409Conflict)
        .ProducesProblem(StatusCodes.Status413PayloadTooLarge)
        .ProducesProblem(StatusCodes.Status415UnsupportedMediaType)
        .ProducesProblem(StatusCodes.Status422UnprocessableEntity)
        .WithMetadata(new TakesIdempotencyKey());

    public static RouteHandlerBuilder Refuses(this RouteHandlerBuilder route) => route.ProducesProblem(StatusCodes.Status404NotFound);

    /// <summary>Shows examples/api/&lt;name&gt;.request.json and &lt;name&gt;.answer.json with the route.</summary>
    public static RouteHandlerBuilder WithExample(this RouteHandlerBuilder route, string name) => route.WithMetadata(new RouteExample(name));
}

/// <summary>Name of the pair of example files of a route.</summary>
internal sealed record RouteExample(string Name);

/// <summary>Marks a route on which a repeated Idempotency-Key answers the first result.</summary>
internal sealed record TakesIdempotencyKey;
