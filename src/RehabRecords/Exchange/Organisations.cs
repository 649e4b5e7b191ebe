using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.Trade;

namespace RehabRecords.Exchange;

/// <summary>Organisations are known by their identifiers.</summary>
internal static class Organisations
{
    public static async Task<Organization> OrganisationAsync(this RecordStore store, OrganisationRequest request, WriteSet set, CancellationToken ct)
    {
        var (system, value) = (request.Identifier!.System!, request.Identifier.Value!);
        if (await store.HolderOfAsync("Organization", system, value, ct) is { } id && await store.GetAsync<Organization>(id, ct) is var (known, _))
            return known;
        return set.Create(new Organization { Active = true, Name = request.Name, Identifier = [new Identifier(system, value)], Text = Readable.Of(request.Name) });
    }

    /// <summary>By id, "Organization/id" or "system|value".</summary>
    public static async Task<Organization> RecipientAsync(this RecordStore store, string? named, CancellationToken ct)
    {
        if (string.IsNullOrWhiteSpace(named))
            throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.Required,
                "recipient is missing; say which organisation the programme is for, by its id or as system|value, such as ?recipient=https://clinic.example/id/team|north.", "recipient");
        var bare = Rules.Bare(named, "Organization");
        var id = named.Split('|', 2) is [var system, var value] ? await store.HolderOfAsync("Organization", system, value, ct) : Rules.IsId(bare) ? bare : null;
        return id is not null && await store.GetAsync<Organization>(id, ct) is var (organisation, _) ? organisation
            : throw Missing.Unknown("recipient", named, "organisation");
    }
}
