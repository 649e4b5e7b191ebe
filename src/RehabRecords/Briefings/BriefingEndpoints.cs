using FluentValidation;
using RehabRecords.Trade;

namespace RehabRecords.Briefings;

/// <summary>The carer is briefed before anyone starts.</summary>
public static class BriefingEndpoints
{
    public static void AddBriefings(this IServiceCollection services)
    {
        services.AddScoped<Brief>();
        services.AddSingleton<IValidator<BriefingRequest>, BriefingRules>();
        services.AddSingleton<IValidator<AcknowledgementRequest>, AcknowledgementRules>();
    }

    public static void MapBriefings(this IEndpointRouteBuilder routes)
    {
        var briefing = routes.MapGroup("/api/programmes/{id}/briefing").WithTags("Programmes");
        briefing.MapPost("", (string id, Posted<BriefingRequest> posted, Brief brief, CancellationToken ct) => brief.GiveAsync(id, posted, ct))
            .Answers<BriefingAnswer>(StatusCodes.Status201Created).Refuses().WithExample("briefing")
            .WithSummary("Brief a carer")
            .WithDescription("Keeps what the carer was told and asks for an acknowledgement. A programme that requires a briefing (`briefingRequired`, or `required` here) is on hold until the carer has acknowledged it. "
                + "A further briefing takes the place of one that was not acknowledged.");
        briefing.MapPost("acknowledgement", (string id, Posted<AcknowledgementRequest> posted, Brief brief, CancellationToken ct) => brief.AcknowledgeAsync(id, posted, ct))
            .Answers<BriefingAnswer>(StatusCodes.Status200OK).Refuses().WithExample("acknowledgement")
            .WithSummary("Acknowledge a briefing")
            .WithDescription("The carer understood, or did not. Understood: a programme that waited for it becomes active. Not understood: it stays on hold until another briefing.");
        briefing.MapGet("", (string id, Brief brief, CancellationToken ct) => brief.ReadAsync(id, ct))
            .Refuses().WithSummary("Read the briefings of a programme").WithDescription("What carers were told, and whether they acknowledged it; whether the programme waits for it.");
    }
}
