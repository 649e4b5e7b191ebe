using System.Globalization;
using Hl7.Fhir.Model;
using Microsoft.AspNetCore.WebUtilities;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.Host;

namespace RehabRecords.Rest;

/// <summary>What can be read, for a request by itself and for an entry of a Bundle alike.</summary>
internal sealed class Reads(RecordStore store, ResourceRegistry registry, Searches searches, Settings settings)
{
    /// <summary>What a history can be asked for; <c>_before</c> is where the next page goes on.</summary>
    public static readonly string[] HistoryParameters = ["_count", "_since", "_before"];

    public async Task<RecordVersion> CurrentAsync(string type, string id, CancellationToken ct) =>
        Present(await store.ReadAsync(type, id, ct), $"{type}/{id}");

    public async Task<RecordVersion> VersionAsync(string type, string id, string version, CancellationToken ct)
    {
        var address = $"{type}/{id}/_history/{version}";
        var found = int.TryParse(version, NumberStyles.None, CultureInfo.InvariantCulture, out var number)
            ? await store.ReadVersionAsync(type, id, number, ct)
            : null;
        return Present(found, address);
    }

    /// <summary>All versions of one resource, newest first, as a Bundle; at most <c>_count</c> of them, changed at or after <c>_since</c>.</summary>
    public async Task<ReadOnlyMemory<byte>> HistoryAsync(string type, string id, IReadOnlyList<KeyValuePair<string, string>> query, CancellationToken ct)
    {
        var versions = await store.HistoryAsync(type, id, ct);
        if (versions.Count == 0)
            throw Missing($"{type}/{id}");
        var count = Once(query, "_count") is { } c
            ? int.TryParse(c, NumberStyles.None, CultureInfo.InvariantCulture, out var n) ? n : throw Unreadable("_count", c, "a whole number from 0")
            : int.MaxValue;
        var since = Once(query, "_since") is { } s
            ? DateTimeOffset.TryParse(s.Replace(' ', '+'), CultureInfo.InvariantCulture, DateTimeStyles.AssumeUniversal, out var at) ? at : throw Unreadable("_since", s, "an instant such as 2026-01-31T09:00:00Z")
            : DateTimeOffset.MinValue;
        var before = Once(query, "_before") is { } b
            ? int.TryParse(b, NumberStyles.None, CultureInfo.InvariantCulture, out var v) ? v : throw Unreadable("_before", b, "a version number")
            : int.MaxValue;

        var wanted = versions.Where(x => x.LastUpdated >= since).ToList();
        var page = wanted.Where(x => x.Version < before).Take(count).ToList();
        var address = $"{settings.FhirBase}/{type}/{id}/_history";
        var links = new List<(string, string)> { ("self", QueryHelpers.AddQueryString(address, query!)) };
        if (count > 0 && page.Count == count && wanted.Exists(x => x.Version < page[^1].Version))
        {
            var next = query.Where(q => q.Key != "_before").Append(KeyValuePair.Create("_before", page[^1].Version.ToString(CultureInfo.InvariantCulture)));
            links.Add(("next", QueryHelpers.AddQueryString(address, next!)));
        }
        using var bundle = new BundleBody(settings.FhirBase, "history", wanted.Count, [.. links]);
        foreach (var version in page)
            bundle.Past(version);
        return bundle.End();
    }

    /// <summary>Reads what an entry of a Bundle names by a url relative to the base.</summary>
    /// <returns>The body, and the version when the body is a resource of the store.</returns>
    public async Task<(ReadOnlyMemory<byte> Body, RecordVersion? Version)> AtAsync(string url, bool lenient, CancellationToken ct)
    {
        var mark = url.IndexOf('?', StringComparison.Ordinal);
        var path = (mark < 0 ? url : url[..mark]).Trim('/').Split('/');
        var query = mark < 0 ? [] : Call.Pairs(QueryHelpers.ParseQuery(url[mark..]));
        var kind = registry.Find(path[0]) ?? throw new RefusedException(Refusal.NotFound, OperationOutcome.IssueType.NotSupported,
            $"'{url}' names no resource type of this service; /fhir/metadata lists them.");
        var (needed, parameters, read) = path switch
        {
            [var type] => (Interactions.Search, null, () => Body(searches.PageAsync(type, query, lenient, ct))),
            [var type, var id] => (Interactions.Read, [], () => Version(CurrentAsync(type, id, ct))),
            [var type, var id, "_history"] => (Interactions.History, HistoryParameters, () => Body(HistoryAsync(type, id, query, ct))),
            [var type, var id, "_history", var version] => (Interactions.VersionRead, [], () => Version(VersionAsync(type, id, version, ct))),
            _ => ((Interactions, string[]?, Func<Task<(ReadOnlyMemory<byte>, RecordVersion?)>>))(Interactions.None, null, () => throw Missing(url)),
        };
        if (!kind.Offers(needed))
            throw new RefusedException(Refusal.NotAllowed, OperationOutcome.IssueType.NotSupported, $"{needed} is not offered for {kind.Type}.");
        if (parameters is not null && !lenient)
            Call.RefuseOther(query, parameters);
        return await read();
    }

    private static async Task<(ReadOnlyMemory<byte>, RecordVersion?)> Body(Task<ReadOnlyMemory<byte>> read) => (await read, null);

    private static async Task<(ReadOnlyMemory<byte>, RecordVersion?)> Version(Task<RecordVersion> read)
    {
        var version = await read;
        return (version.Json, version);
    }

    private static RecordVersion Present(RecordVersion? found, string address) => found switch
    {
        null => throw Missing(address),
        { Deleted: true } => throw new RefusedException(Refusal.Gone, OperationOutcome.IssueType.Deleted,
            $"{address} was deleted at {found.LastUpdated.ToUniversalTime():yyyy-MM-dd'T'HH:mm:ss'Z'}; its earlier versions are at {found.Address}/_history."),
        _ => found,
    };

    private static RefusedException Missing(string address) =>
        new(Refusal.NotFound, OperationOutcome.IssueType.NotFound, $"There is no {address}.");

    private static string? Once(IReadOnlyList<KeyValuePair<string, string>> query, string name)
    {
        var values = query.Where(q => q.Key == name && q.Value.Length > 0).Select(q => q.Value).ToList();
        return values.Count <= 1
            ? values.FirstOrDefault()
            : throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.Invalid, $"{name} is given {values.Count} times; give it once.");
    }

    private static RefusedException Unreadable(string name, string value, string wanted) =>
        new(Refusal.Malformed, OperationOutcome.IssueType.Value, $"{name} is '{value}'; give {wanted}.");
}
