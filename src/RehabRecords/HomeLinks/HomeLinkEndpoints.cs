using FluentValidation;
using RehabRecords.Trade;

namespace RehabRecords.HomeLinks;

public static class HomeLinkEndpoints
{
    public static void AddHomeLinks(this IServiceCollection services)
    {
        services.AddScoped<HandOutHomeLink>();
        services.AddScoped<OpenHomeLink>();
        services.AddSingleton<IValidator<HomeLinkRequest>, HomeLinkRules>();
        services.AddSingleton<IValidator<HomeLinkRevocationRequest>, HomeLinkRevocationRules>();
    }

    public static void MapHomeLinks(this IEndpointRouteBuilder routes)
    {
        var links = routes.MapGroup("/api").WithTags("Links for home");
        links.MapPost("programmes/{id}/home-links", (string id, Posted<HomeLinkRequest> posted, HandOutHomeLink links, CancellationToken ct) => links.MakeAsync(id, posted, ct))
            .Answers<HomeLinkAnswer>(StatusCodes.Status201Created).Refuses().WithExample("home-link")
            .WithSummary("Hand out a link for reporting from home")
            .WithDescription("Whoever has the address of the answer can report sessions of this programme, and sees the person's first name and the exercises, nothing else. The address is answered this once: "
                + "only a hash of it is kept, and a repeat with the same Idempotency-Key answers `address` null. It works until the end of `validUntil` or until it is revoked.");
        links.MapGet("programmes/{id}/home-links", (string id, HandOutHomeLink links, CancellationToken ct) => links.ListAsync(id, ct)).Refuses()
            .WithSummary("List the links of a programme").WithDescription("Newest first, without their addresses; `state` is working, expired or revoked.");
        links.MapPost("home-links/{id}/revocation", (string id, Posted<HomeLinkRevocationRequest> posted, HandOutHomeLink links, CancellationToken ct) => links.RevokeAsync(id, posted, ct))
            .Answers<HomeLinkView>(StatusCodes.Status200OK).Refuses().WithExample("home-link-revocation")
            .WithSummary("Revoke a link").WithDescription("It stops working at once. Who revoked it and why is kept. What was reported through it stays.");
    }
}
