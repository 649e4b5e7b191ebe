using Hl7.Fhir.Model;
using Microsoft.AspNetCore.WebUtilities;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Search;
using RehabRecords.Fhir.Store;
using RehabRecords.Host;

namespace RehabRecords.Rest;

/// <summary>A page of a search as a searchset Bundle, made of stored bytes.</summary>
internal sealed class Searches(RecordStore store, SearchParameters parameters, Settings settings)
{
    public async Task<ReadOnlyMemory<byte>> PageAsync(string type, IReadOnlyList<KeyValuePair<string, string>> pairs, bool lenient, CancellationToken ct)
    {
        var query = SearchQuery.Parse(parameters, type, pairs, lenient);
        var shown = Shown.Of(type, pairs, lenient);
        if (shown.TextOnly && query.Inclusions.Count > 0)
            throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.NotSupported,
                "_summary=text sends narratives alone; ask for _include and _revinclude with another summary or none.", Shown.Summary);
        var page = await store.SearchAsync(query, ct);
        var links = new List<(string, string)> { ("self", Link(query, query.Cursor)) };
        if (page.Next is not null)
            links.Add(("next", Link(query, page.Next)));
        using var bundle = new BundleBody(settings.FhirBase, "searchset", page.Total, [.. links]);
        foreach (var match in page.Matches)
            bundle.Found(match, shown.Of(match.Json), "match");
        foreach (var included in page.Included)
            bundle.Found(included, shown.OfIncluded(included.Json), "include");
        return bundle.End();
    }

    // What was really used, so that a reader can see what was passed over.
    private string Link(SearchQuery query, string? cursor)
    {
        var used = query.Used.Select(u => KeyValuePair.Create(u.Key, (string?)u.Value));
        return QueryHelpers.AddQueryString($"{settings.FhirBase}/{query.Type}", cursor is null ? used : used.Append(new(SearchQuery.CursorName, cursor)));
    }
}
