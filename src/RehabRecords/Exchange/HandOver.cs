using Hl7.Fhir.Model;
using RehabRecords.Audit;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.Fhir.Validation;
using RehabRecords.Host;
using RehabRecords.Progress;
using RehabRecords.Trade;

namespace RehabRecords.Exchange;

/// <summary>Hands a programme over to an organisation, if the person agreed to that; whether it did or not is kept.</summary>
public sealed class HandOver(RecordStore store, RecordWriter writer, Settings settings, TimeProvider clock)
{
    /// <param name="programme">Id of the CarePlan.</param>
    /// <param name="recipient">The organisation: id or system|value.</param>
    /// <param name="address">The address of the caller's machine, for the audit.</param>
    /// <exception cref="RefusedException">NotFound; NotPermitted with the reason when the person's consent does not allow it.</exception>
    public async Task<Bundle> RunAsync(string programme, string? recipient, bool results, string address, CancellationToken ct)
    {
        var (plan, _) = await store.RoutedAsync<CarePlan>(programme, "programme", ct);
        var organisation = await store.RecipientAsync(recipient, ct);
        var (asking, now, about) = (new Asking(organisation, address), clock.GetUtcNow(), plan.Evidence());
        var person = plan.Subject.IdOf("Patient") ?? throw new FormatException($"{plan.Evidence()} names no person.");
        var content = await new ExchangeReader(store).ReadAsync(programme, results, ct);

        // What was agreed with somebody else, and came here from there, is not an agreement with us.
        var consents = (await ConsentEndpoints.OfAsync(store, person, ct)).Where(c => Origin.Marked(c) is null).ToList();
        var types = content.Current.Select(r => r.TypeName).Distinct().ToList();
        var agreed = SharingConsent.Of(consents, organisation, types, now, settings.TimeZone);
        if (agreed.Permit is not { } permit)
        {
            await KeepAsync(Disclosure.Refused(asking, person, about, agreed.Reason!, settings, now), ct);
            throw new RefusedException(Refusal.NotPermitted, OperationOutcome.IssueType.Suppressed, agreed.Reason!, "recipient");
        }

        var bundle = ExchangeBundle.Of(content, organisation, permit, settings.FhirBase);
        // Kept before it leaves: what cannot be accounted for is not handed over.
        await KeepAsync(Disclosure.Of(asking, person, about, bundle.Identifier!, permit, settings, now), ct);
        return bundle;
    }

    private async System.Threading.Tasks.Task KeepAsync(AuditEvent entry, CancellationToken ct)
    {
        var set = new WriteSet();
        set.Create(entry);
        await writer.WriteAsync(set, ct);
    }
}
