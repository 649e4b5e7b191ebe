using Hl7.Fhir.Model;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Fhir.Bundles;

/// <summary>Looks up what a condition of identifiers means, in the record and in the words of the transaction it stands in.</summary>
/// <param name="names">What the entries of the transaction are called, as far as it is known yet.</param>
internal sealed class IdentifierHolders(RecordStore store, TransactionReferences names)
{
    /// <summary>The condition under which something is created. Only what meets it claims the identifier; without the claim a second caller would create a second one.</summary>
    public IdentifierCondition Claimed(Change change, string condition, string at)
    {
        var claimed = IdentifierCondition.Parse(change.Type, condition, at);
        return IsMetBy(claimed, change.Resource!, change.FullUrl)
            ? claimed
            : throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.BusinessRule,
                claimed.Patient is null
                    ? $"The condition names identifier {claimed}, which the resource does not carry. Add it to the resource."
                    : $"The condition names identifier {claimed}, and the resource is not that person's carer under that identifier. Let its identifier and patient say the same as the condition.", at);
    }

    public bool IsMetBy(IdentifierCondition condition, Resource resource, string? fullUrl) =>
        condition.Holds(resource, (reference, patient) => names.AddressOf(reference, fullUrl) is { } address && address == names.AddressOf(patient, null));

    /// <summary>Id of what the record has under the condition, or null.</summary>
    /// <exception cref="RefusedException">Ambiguous: a carer of several people, and none of them is named.</exception>
    public Task<string?> OfAsync(string type, IdentifierCondition condition, string at, CancellationToken ct)
    {
        if (condition.Patient is null)
            return store.HolderOfAsync(type, condition.System, condition.Value, ct);
        return IdOfPatient(condition.Patient, null) is { } patient
            ? store.HolderOfAsync(type, condition.System, condition.Value, patient, ct)
            : throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.Value,
                $"The condition names the patient '{condition.Patient}', which is no person of this record and no entry of the Bundle. Give patient=Patient/<id>, or the fullUrl of an entry.", at);
    }

    /// <summary>Without the person in the condition, another person's carer would be answered for the one that was to be created.</summary>
    public async Task RefuseCarerOfAnotherAsync(Change change, IdentifierCondition condition, string holder, string at, CancellationToken ct)
    {
        if (condition.Patient is not null || change.Resource is not RelatedPerson carer)
            return;
        var patient = carer.Patient?.Reference is { } reference ? IdOfPatient(reference, change.FullUrl) : null;
        if (patient is null || await store.HolderOfAsync(change.Type, condition.System, condition.Value, patient, ct) != holder)
            throw new RefusedException(Refusal.Ambiguous, OperationOutcome.IssueType.MultipleMatches,
                $"The identifier {condition} is held by {change.Type}/{holder}, who is another person's carer. Add &patient=Patient/<id> to the condition.", at);
    }

    private string? IdOfPatient(string reference, string? fullUrl) =>
        names.AddressOf(reference, fullUrl)?.Split('/') is ["Patient", { Length: > 0 } id] ? id : null;
}
