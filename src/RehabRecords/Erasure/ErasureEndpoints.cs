using FluentValidation;
using RehabRecords.Access;
using RehabRecords.Trade;

namespace RehabRecords.Erasure;

/// <summary>Erasing the record of a person, and what is left of that.</summary>
public static class ErasureEndpoints
{
    public static void AddErasure(this IServiceCollection services)
    {
        services.AddScoped<EraseRecord>();
        services.AddSingleton<ErasureLedger>();
        services.AddSingleton<IValidator<ErasureRequest>, ErasureRules>();
        services.AddSingleton<IValidator<ErasureConfirmation>, ConfirmationRules>();
    }

    public static void MapErasure(this IEndpointRouteBuilder routes)
    {
        var keeping = routes.MapGroup("/api").WithTags("Keeping records");
        keeping.MapPost("people/{id}/erasure", (string id, Posted<ErasureRequest> posted, EraseRecord erase, CancellationToken ct) => erase.ShowAsync(id, posted, ct))
            .Answers<ErasureShown>(StatusCodes.Status201Created).Refuses().WithExample("erasure").WithSummary("Ask for a record to be erased, and see what that would take")
            .WithDescription("The first of two steps; nothing is erased yet. Refused under legal hold, before the time is over unless another ground is named, and while something is unsigned or open unless that is said. "
                + "The answer has counts and a digest, which the confirmation names.");
        keeping.MapPost("people/{id}/erasure/{request}/confirmation", (string id, string request, Posted<ErasureConfirmation> posted, EraseRecord erase, CancellationToken ct) => erase.ConfirmAsync(id, request, posted.Body, ct))
            .Answers<ErasureDone>(StatusCodes.Status200OK).Refuses().WithExample("erasure-confirmation").WithSummary("Confirm that a record is erased")
            .WithDescription("Every version of everything about the person is gone afterwards, from searches, histories and exports too; what is left is a tombstone, and the audit trail without what tells of the person. "
                + "It cannot be taken back. Refused when the record is not what was shown.");
        keeping.MapGet("erasures", async (Stores stores, Calling calling, CancellationToken ct) => (await stores.Of(calling.Caller.Organisation).TombstonesAsync(ct)).Select(ErasureView.Of).ToList())
            .Produces<IReadOnlyList<ErasureView>>().WithSummary("List what was erased").WithDescription("When, by whom, on which ground and how much; nothing of whom. Oldest first.");
    }
}
