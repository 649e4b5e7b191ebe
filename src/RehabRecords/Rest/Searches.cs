using Hl7.Fhir.Model;
using Microsoft.AspNetCore.WebUtilities;
using RehabRecords.Access;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Search;
using RehabRecords.Fhir.Store;
using RehabRecords.Host;

namespace RehabRecords.Rest;

/// <summary>A page of a search as a searchset Bundle, made of stored bytes.</summary>
internal sealed class Searches(RecordStore store, SearchParameters parameters, Calling calling, Settings settings)
{
    /// <summary>A search of one type.</summary>
    public Task<ReadOnlyMemory<byte>> PageAsync(string type, IReadOnlyList<KeyValuePair<string, string>> pairs, bool lenient, CancellationToken ct) =>
        PageAsync(SearchQuery.Parse(parameters, type, pairs, lenient, settings.FhirBase), pairs, lenient, ct);

    /// <summary>A search over several types.</summary>
    public Task<ReadOnlyMemory<byte>> PageAcrossAsync(IReadOnlyList<KeyValuePair<string, string>> pairs, bool lenient, CancellationToken ct)
    {
        var allowed = ResourceAccess.Narrowed(calling, parameters.Registry, pairs);
        return PageAsync(SearchQuery.ParseAcross(parameters, allowed, lenient, settings.FhirBase), allowed, lenient, ct);
    }

    /// <summary>A search in the record of a person, of one type or ("*") of all.</summary>
    public Task<ReadOnlyMemory<byte>> PageInRecordAsync(string patient, string type, IReadOnlyList<KeyValuePair<string, string>> pairs, bool lenient, CancellationToken ct)
    {
        var allowed = type == "*" ? ResourceAccess.Narrowed(calling, parameters.Registry, pairs, parameters.Compartment) : pairs;
        return PageAsync(SearchQuery.ParseInRecord(parameters, patient, type, allowed, lenient, settings.FhirBase), allowed, lenient, ct);
    }

    private async Task<ReadOnlyMemory<byte>> PageAsync(SearchQuery query, IReadOnlyList<KeyValuePair<string, string>> pairs, bool lenient, CancellationToken ct)
    {
        ResourceAccess.Require(calling, query);
        query = query with { PageBytes = settings.Limits.PageBytes };
        var shown = Shown.Of(query.Types is [var type] ? type : null, pairs, lenient);
        if (shown.TextOnly && query.Inclusions.Count > 0)
            throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.NotSupported,
                "_summary=text sends narratives alone; ask for _include and _revinclude with another summary or none.", Shown.Summary);
        var page = await store.SearchAsync(query, ct);
        var links = new List<(string, string)> { ("self", Link(query, query.Cursor)) };
        if (query.Cursor is not null)
            links.Add(("first", Link(query, null)));
        if (page.Previous is not null)
            links.Add(("previous", Link(query, page.Previous)));
        if (page.Next is not null)
            links.Add(("next", Link(query, page.Next)));
        using var bundle = new BundleBody(settings.FhirBase, "searchset", page.Total, [.. links]);
        foreach (var match in page.Matches)
            bundle.Found(match, shown.Of(match.Json), "match");
        foreach (var included in page.Included.Where(i => calling.Caller.May(i.Type, 'r')))
            bundle.Found(included, shown.OfIncluded(included.Json), "include");
        return bundle.End();
    }

    // What was really used, so that a reader can see what was passed over.
    private string Link(SearchQuery query, string? cursor)
    {
        var used = query.Used.Select(u => KeyValuePair.Create(u.Key, (string?)u.Value));
        return QueryHelpers.AddQueryString(query.Path.Length == 0 ? settings.FhirBase : $"{settings.FhirBase}/{query.Path}", cursor is null ? used : used.Append(new(SearchQuery.CursorName, cursor)));
    }
}
