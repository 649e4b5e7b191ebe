using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Trade;

/// <summary>Reads that must find something, and the refusals when they do not.</summary>
internal static class Missing
{
    /// <summary>What a body names must exist.</summary>
    /// <param name="alsoReplaced">Whether the record of a person may be named that was merged into another.</param>
    public static async Task<(T Resource, int Version)> NamedAsync<T>(this RecordStore store, string field, string id, string what, CancellationToken ct, bool alsoReplaced = false)
        where T : Resource
    {
        var found = await store.GetAsync<T>(id, ct) ?? throw Unknown(field, id, what);
        if (!alsoReplaced && found.Resource is Patient patient && Replaced.By(patient) is { } survivor)
            throw Bad(field, $"{field} names '{Rules.Shown(id)}', whose record was merged into '{survivor}'; give that one.");
        return found;
    }

    /// <summary>What the route names must exist.</summary>
    public static async Task<(T Resource, int Version)> RoutedAsync<T>(this RecordStore store, string id, string what, CancellationToken ct)
        where T : Resource
    {
        if (Rules.IsId(id) && await store.GetAsync<T>(id, ct) is { } found)
            return found;
        if (Rules.IsId(id) && await store.ErasedAtAsync(ModelInfo.GetFhirTypeNameForType(typeof(T))!, id, ct) is { } erased)
            throw Tombstone.Gone($"The {what} '{id}'", erased);
        throw new RefusedException(Refusal.NotFound, OperationOutcome.IssueType.NotFound, $"There is no {what} '{Rules.Shown(id)}'; check the id.", "id");
    }

    public static RefusedException Unknown(string field, string value, string what) => Bad(
        field, $"{field} names '{Rules.Shown(value)}', and there is no such {what} in the record; give one that exists or create it first.", OperationOutcome.IssueType.NotFound);

    public static RefusedException Bad(string field, string message, OperationOutcome.IssueType code = OperationOutcome.IssueType.BusinessRule) =>
        new(Refusal.Invalid, code, message, field);
}
