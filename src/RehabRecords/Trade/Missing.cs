using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Trade;

/// <summary>Reads that must find something, and the refusals when they do not.</summary>
internal static class Missing
{
    /// <summary>What a body names must exist.</summary>
    public static async Task<(T Resource, int Version)> NamedAsync<T>(this RecordStore store, string field, string id, string what, CancellationToken ct)
        where T : Resource =>
        await store.GetAsync<T>(id, ct) ?? throw Unknown(field, id, what);

    /// <summary>What the route names must exist.</summary>
    public static async Task<(T Resource, int Version)> RoutedAsync<T>(this RecordStore store, string id, string what, CancellationToken ct)
        where T : Resource =>
        (Rules.IsId(id) ? await store.GetAsync<T>(id, ct) : null)
        ?? throw new RefusedException(Refusal.NotFound, OperationOutcome.IssueType.NotFound, $"There is no {what} '{Rules.Shown(id)}'; check the id.", "id");

    public static RefusedException Unknown(string field, string value, string what) => Bad(
        field, $"{field} names '{Rules.Shown(value)}', and there is no such {what} in the record; give one that exists or create it first.", OperationOutcome.IssueType.NotFound);

    public static RefusedException Bad(string field, string message, OperationOutcome.IssueType code = OperationOutcome.IssueType.BusinessRule) =>
        new(Refusal.Invalid, code, message, field);
}
