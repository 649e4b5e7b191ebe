using FluentValidation;
using Hl7.Fhir.Model;
using RehabRecords.Access;
using RehabRecords.Audit;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.Trade;

namespace RehabRecords.Retention;

/// <summary>What a records officer does about how long records are kept.</summary>
public static class RetentionEndpoints
{
    public static void AddRetention(this IServiceCollection services)
    {
        services.AddSingleton<RetentionReview>();
        services.AddSingleton<IValidator<LegalHoldRequest>, LegalHoldRules>();
    }

    public static void MapRetention(this IEndpointRouteBuilder routes)
    {
        var keeping = routes.MapGroup("/api").WithTags("Keeping records");
        keeping.MapGet("retention", ListAsync).WithSummary("Whose record is due for a look")
            .WithDescription("Who may be erased as far as time goes, since when and by which rule, and who is under legal hold; with `all=true` everybody. Nothing is ever erased by itself: a records officer decides.");
        keeping.MapPost("people/{id}/legal-holds", SetAsync).Answers<LegalHoldView>(StatusCodes.Status201Created).Refuses().WithExample("legal-hold")
            .WithSummary("Set a legal hold").WithDescription("While it is in force the record can be neither erased nor merged. It is a Flag of the person, in the record like everything else.");
        keeping.MapGet("people/{id}/legal-holds", async (string id, RecordStore store, CancellationToken ct) =>
            {
                await store.RoutedAsync<Patient>(id, "person", ct);
                return (await LegalHold.OfAsync(store, id, ct)).Select(LegalHold.View).ToList();
            })
            .Produces<IReadOnlyList<LegalHoldView>>().Refuses().WithSummary("List the legal holds of a person").WithDescription("Those in force and those lifted.");
        keeping.MapPost("people/{id}/legal-holds/{hold}/lifting", LiftAsync).Answers<LegalHoldView>(StatusCodes.Status200OK).Refuses().WithExample("legal-hold-lifting")
            .WithSummary("Lift a legal hold").WithDescription("It stays in the record with who lifted it and why.");
    }

    private static async Task<RetentionList> ListAsync(bool? all, RetentionReview review, Calling calling, Stores stores, Witness witness, CancellationToken ct)
    {
        if (calling.Caller.People is not null)
            throw Calling.Refused("This looks at every record of the organisation; a caller who sees some people only may not ask it.");
        // All records are looked at for a date; those that are told of are what the caller saw.
        var list = await review.ReadAsync(stores.Of(calling.Caller.Organisation), all == true, ct);
        witness.Saw(list.People.Select(p => p.Id));
        return list;
    }

    private static Task<IResult> SetAsync(string id, Posted<LegalHoldRequest> posted, RecordStore store, Recording recording, Calling calling, RetentionReview review, CancellationToken ct) =>
        recording.OnceAsync(posted.Key, async (set, cancel) =>
        {
            await store.RoutedAsync<Patient>(id, "person", cancel);
            var by = LegalHold.Officer(calling.Caller, posted.Body.By!);
            var flag = set.Create(LegalHold.New(id, posted.Body.Reason!.Trim(), await by.ReferenceAsync(store, set, cancel), review.Today));
            return new Recorded<LegalHoldView>(StatusCodes.Status201Created, $"/api/people/{id}/legal-holds", LegalHold.View(flag));
        }, ct, Clinician.Tries);

    private static Task<IResult> LiftAsync(string id, string hold, Posted<LegalHoldRequest> posted, RecordStore store, Recording recording, Calling calling, TimeProvider clock, CancellationToken ct) =>
        recording.OnceAsync(posted.Key, async (set, cancel) =>
        {
            var (flag, version) = await store.RoutedAsync<Flag>(hold, "legal hold", cancel);
            if (!LegalHold.Is(flag) || flag.Subject?.Reference != $"Patient/{id}")
                throw new RefusedException(Refusal.NotFound, OperationOutcome.IssueType.NotFound, $"Person '{Rules.Shown(id)}' has no legal hold '{Rules.Shown(hold)}'; GET /api/people/{{id}}/legal-holds lists them.", "hold");
            if (flag.Status != Flag.FlagStatus.Active)
                throw new RefusedException(Refusal.Conflict, OperationOutcome.IssueType.Conflict, $"The legal hold '{hold}' was lifted on {flag.Period?.End}; there is nothing to lift.", "hold");
            LegalHold.Lift(flag, posted.Body.Reason!.Trim(), LegalHold.Officer(calling.Caller, posted.Body.By!), clock.GetUtcNow());
            set.Update(flag, version);
            return new Recorded<LegalHoldView>(StatusCodes.Status200OK, "", LegalHold.View(flag));
        }, ct);
}
