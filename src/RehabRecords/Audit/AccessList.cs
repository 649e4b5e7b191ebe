using System.Globalization;
using Hl7.Fhir.Model;
using RehabRecords.Access;
using RehabRecords.Fhir.Store;
using RehabRecords.Trade;

namespace RehabRecords.Audit;

/// <summary>One access to a person's record, as it can be told to the person: nobody else is named whose record it touched.</summary>
/// <param name="Kind">read, vread, search, create, update, delete, disclose and so on, as the event has it; refused where it was.</param>
/// <param name="Who">The person or system, by the name in the trail.</param>
/// <param name="Role">Of a person who signed in.</param>
/// <param name="AuditEvent">Address under /fhir/.</param>
public sealed record AccessLine(DateTimeOffset? At, string Kind, string? Who, string? Role, string AuditEvent);

/// <summary>Who saw a person's record, when: for the person who asks.</summary>
internal static class AccessList
{
    public static void MapAccesses(this IEndpointRouteBuilder routes) =>
        routes.MapGet("/api/people/{id}/accesses", async (string id, RecordStore store, Stores stores, Calling calling, AuditTrail trail, CancellationToken ct) =>
            {
                await store.RoutedAsync<Patient>(id, "person", ct);
                if (calling.Caller.People is not null)
                    throw Calling.Refused("The trail is read by a caller who may see the whole record of the organisation.");
                await trail.SettleAsync(ct);
                return await OfAsync(stores.Of(calling.Caller.Organisation), id, ct);
            })
            .WithTags("Keeping records").Produces<IReadOnlyList<AccessLine>>().ProducesProblem(StatusCodes.Status404NotFound).WithSummary("Who saw a person's record")
            .WithDescription("Every access in the audit trail that touched the record, oldest first: when, who, in which role, and whether it was read, searched, written or handed over. Nobody else's record is named, so it can be given to the person.");

    private static async Task<IReadOnlyList<AccessLine>> OfAsync(RecordStore store, string person, CancellationToken ct)
    {
        var records = await Replaced.RecordsOfAsync(store, person, ct);
        var events = await store.FindAllAsync<AuditEvent>("patient=" + string.Join(',', records.Select(r => $"Patient/{r}")), ct);
        return [.. events.Select(Line).OrderBy(l => l.At).ThenBy(l => l.AuditEvent, StringComparer.Ordinal)];
    }

    private static AccessLine Line(AuditEvent audit)
    {
        // Whoever signed in stands beside the service; a system, or another team, stands for itself.
        var who = audit.Agent.FirstOrDefault(a => a.Requestor == true) ?? audit.Agent.FirstOrDefault();
        return new AccessLine(
            audit.Recorded, audit.Outcome is null or AuditEvent.AuditEventOutcome.N0 ? audit.Subtype.FirstOrDefault()?.Code ?? audit.Type?.Code ?? "" : "refused",
            who?.Who?.Display ?? who?.Who?.Identifier?.Value ?? who?.Name, who?.Role.FirstOrDefault()?.Text, string.Create(CultureInfo.InvariantCulture, $"AuditEvent/{audit.Id}"));
    }
}
