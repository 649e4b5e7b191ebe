using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.Host;
using RehabRecords.Library;
using RehabRecords.Progress;
using RehabRecords.Trade;

namespace RehabRecords.Exchange;

/// <summary>What a person decides about sharing their record.</summary>
public static class ConsentEndpoints
{
    public static void MapConsents(this IEndpointRouteBuilder routes)
    {
        var consents = routes.MapGroup("/api/people/{id}/consents").WithTags("Exchange");
        consents.MapPost("", PostAsync).Answers<ConsentAnswer>(StatusCodes.Status201Created).Refuses().WithExample("consent")
            .WithSummary("Record a consent or a refusal to share")
            .WithDescription("One decision holds for each organisation: an earlier one about the same organisation ends. Without a consent that holds today, nothing is handed to an organisation. "
                + "The organisation is known by its identifier and is recorded with the consent when it is new.");
        consents.MapGet("", ListAsync).Refuses().WithSummary("List a person's consents").WithDescription("All decisions about sharing, the oldest first, ended ones among them.");
        consents.MapPost("{consent}/withdrawal", WithdrawAsync).Answers<ConsentAnswer>(StatusCodes.Status200OK).Refuses().WithExample("withdrawal")
            .WithSummary("Withdraw a consent").WithDescription("The consent ends at once and is kept. What was handed over before stays with those who have it.");
    }

    private static Task<IResult> PostAsync(string id, Posted<ConsentRequest> posted, Recording recording, RecordStore store, TimeProvider clock, Settings settings, CancellationToken ct) =>
        recording.OnceAsync(posted.Key, async (set, cancel) =>
        {
            var (patient, _) = await store.RoutedAsync<Patient>(id, "person", cancel);
            var (request, now) = (posted.Body, clock.GetUtcNow());
            if (request.Carer is { } carer && await store.NamedAsync<RelatedPerson>("carer", Rules.Bare(carer, "RelatedPerson"), "carer", cancel) is var (related, _)
                && related.Patient.IdOf("Patient") != patient.Id)
                throw Missing.Bad("carer", $"carer is '{carer}', a carer of another person; name a carer of person {patient.Id}.");
            var recipient = await store.OrganisationAsync(request.Recipient!, set, cancel);
            var by = await request.RecordedBy!.ReferenceAsync(store, set, cancel);
            var today = Clinical.Schedule.DayOf(now, settings.TimeZone);
            foreach (var earlier in await OfAsync(store, id, cancel))
                if (earlier.Status == Consent.ConsentState.Active && earlier.Provision?.Actor is [{ } actor] && actor.Reference.IdOf("Organization") == recipient.Id)
                {
                    earlier.End($"Ended on {now:d MMMM yyyy}: another decision took its place.", today);
                    set.Update(earlier, int.Parse(earlier.Meta!.VersionId!, System.Globalization.CultureInfo.InvariantCulture));
                }

            var consent = set.Create(request.ToConsent(patient.Id!, recipient, by, today, now));
            return new Recorded<ConsentAnswer>(StatusCodes.Status201Created, $"/api/people/{id}/consents", consent.ToAnswer());
        }, ct, Clinician.Tries);

    private static async Task<IReadOnlyList<ConsentAnswer>> ListAsync(string id, RecordStore store, CancellationToken ct)
    {
        _ = await store.RoutedAsync<Patient>(id, "person", ct);
        return [.. (await OfAsync(store, id, ct)).Select(c => c.ToAnswer())];
    }

    private static Task<IResult> WithdrawAsync(string id, string consent, Posted<WithdrawalRequest> posted, Recording recording, RecordStore store, TimeProvider clock, Settings settings, CancellationToken ct) =>
        recording.OnceAsync(posted.Key, async (set, cancel) =>
        {
            var (given, version) = await store.RoutedAsync<Consent>(consent, "consent", cancel);
            if (given.Patient.IdOf("Patient") != id)
                throw new RefusedException(Refusal.NotFound, OperationOutcome.IssueType.NotFound, $"Consent '{Rules.Shown(consent)}' is not one of person '{Rules.Shown(id)}'; GET /api/people/{{id}}/consents lists theirs.", "consent");
            if (given.Status != Consent.ConsentState.Active)
                throw new RefusedException(Refusal.Conflict, OperationOutcome.IssueType.Conflict, $"Consent '{consent}' is {given.StatusElement?.JsonValue}, not active; it ended already.", "consent");
            var now = clock.GetUtcNow();
            var by = await posted.Body.RecordedBy!.ReferenceAsync(store, set, cancel);
            given.End(PlainWords.Sentence($"Withdrawn on {now:d MMMM yyyy}, taken down by {by.Display}{(posted.Body.Reason is { } reason ? $", because: {reason}" : "")}"), Clinical.Schedule.DayOf(now, settings.TimeZone));
            set.Update(given, version);
            return new Recorded<ConsentAnswer>(StatusCodes.Status200OK, "", given.ToAnswer());
        }, ct, Clinician.Tries);

    internal static Task<IReadOnlyList<Consent>> OfAsync(RecordStore store, string person, CancellationToken ct) =>
        store.FindAllAsync<Consent>($"patient=Patient/{person}", ct);
}
