using System.Globalization;
using Hl7.Fhir.Model;
using Microsoft.AspNetCore.WebUtilities;
using RehabRecords.Access;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Rest;

/// <summary>What can be read, for a request by itself and for an entry of a Bundle alike.</summary>
internal sealed class Reads(RecordStore store, ResourceRegistry registry, Searches searches, Histories histories, Calling calling)
{
    public async Task<RecordVersion> CurrentAsync(string type, string id, CancellationToken ct)
    {
        calling.Require(type, 'r');
        return Present(await store.ReadAsync(type, id, ct) ?? await GoneAsync(store, type, id, ct), $"{type}/{id}");
    }

    public async Task<RecordVersion> VersionAsync(string type, string id, string version, CancellationToken ct)
    {
        calling.Require(type, 'r');
        var address = $"{type}/{id}/_history/{version}";
        var found = int.TryParse(version, NumberStyles.None, CultureInfo.InvariantCulture, out var number)
            ? await store.ReadVersionAsync(type, id, number, ct)
            : null;
        return Present(found ?? await GoneAsync(store, type, id, ct), address);
    }

    /// <summary>Null, unless there was something here that was erased.</summary>
    /// <exception cref="RefusedException">Gone.</exception>
    public static async Task<RecordVersion?> GoneAsync(RecordStore store, string type, string id, CancellationToken ct) =>
        await store.ErasedAtAsync(type, id, ct) is { } erased ? throw Tombstone.Gone($"{type}/{id}", erased) : null;

    /// <summary>Reads what an entry of a Bundle names by a url relative to the base.</summary>
    /// <returns>The body, and the version when the body is a resource of the store.</returns>
    public async Task<(ReadOnlyMemory<byte> Body, RecordVersion? Version)> AtAsync(string url, bool lenient, CancellationToken ct)
    {
        var mark = url.IndexOf('?', StringComparison.Ordinal);
        var path = (mark < 0 ? url : url[..mark]).Trim('/').Split('/');
        var query = mark < 0 ? [] : Call.Pairs(QueryHelpers.ParseQuery(url[mark..]));
        if (path is ["_history"])
        {
            RequireKnown(query, Histories.Parameters, lenient);
            return await Body(histories.PageAsync(null, null, query, lenient, ct));
        }
        var kind = registry.Find(path[0]) ?? throw new RefusedException(Refusal.NotFound, OperationOutcome.IssueType.NotSupported,
            $"'{url}' names no resource type of this service; /fhir/metadata lists them.");
        var (needed, parameters, read) = path switch
        {
            [var type] => (Interactions.Search, null, () => Body(searches.PageAsync(type, query, lenient, ct))),
            [var type, "_history"] => (Interactions.TypeHistory, Histories.Parameters, () => Body(histories.PageAsync(type, null, query, lenient, ct))),
            [var type, var id] => (Interactions.Read, Shown.Parameters, () => Version(type, CurrentAsync(type, id, ct), query, lenient)),
            ["Patient", var id, var type] when type is "*" || registry.Has(type) => (Interactions.Search, null, () => Body(searches.PageInRecordAsync(id, type, query, lenient, ct))),
            [var type, var id, "_history"] => (Interactions.History, Histories.Parameters, () => Body(histories.PageAsync(type, id, query, lenient, ct))),
            [var type, var id, "_history", var version] => (Interactions.VersionRead, Shown.Parameters, () => Version(type, VersionAsync(type, id, version, ct), query, lenient)),
            _ => ((Interactions, string[]?, Func<Task<(ReadOnlyMemory<byte>, RecordVersion?)>>))(Interactions.None, null, () => throw Missing(url)),
        };
        if (!kind.Offers(needed))
            throw new RefusedException(Refusal.NotAllowed, OperationOutcome.IssueType.NotSupported, $"{needed} is not offered for {kind.Type}.");
        if (parameters is not null)
            RequireKnown(query, parameters, lenient);
        return await read();
    }

    private static void RequireKnown(List<KeyValuePair<string, string>> query, string[] parameters, bool lenient)
    {
        if (!lenient)
            Call.RefuseOther(query, parameters);
    }

    private static async Task<(ReadOnlyMemory<byte>, RecordVersion?)> Body(Task<ReadOnlyMemory<byte>> read) => (await read, null);

    private static async Task<(ReadOnlyMemory<byte>, RecordVersion?)> Version(string type, Task<RecordVersion> read, List<KeyValuePair<string, string>> query, bool lenient)
    {
        var shown = Shown.OfOne(type, query, lenient);
        var version = await read;
        return (shown.Of(version.Json), version);
    }

    private static RecordVersion Present(RecordVersion? found, string address) => found switch
    {
        null => throw Missing(address),
        { Deleted: true } => throw new RefusedException(Refusal.Gone, OperationOutcome.IssueType.Deleted,
            $"{address} was deleted at {found.LastUpdated.ToUniversalTime():yyyy-MM-dd'T'HH:mm:ss'Z'}; its earlier versions are at {found.Address}/_history."),
        _ => found,
    };

    public static RefusedException Missing(string address) =>
        new(Refusal.NotFound, OperationOutcome.IssueType.NotFound, $"There is no {address}.");
}
