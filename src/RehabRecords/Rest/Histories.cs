using System.Buffers.Text;
using System.Globalization;
using System.Text;
using Hl7.Fhir.Model;
using Microsoft.AspNetCore.WebUtilities;
using RehabRecords.Access;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Search;
using RehabRecords.Fhir.Store;
using RehabRecords.Host;

namespace RehabRecords.Rest;

/// <summary>A page of the history of a resource, a type or everything as a Bundle, the newest first.</summary>
internal sealed class Histories(RecordStore store, Calling calling, Settings settings)
{
    public static readonly string[] Parameters = ["_count", "_since", "_at", SearchQuery.CursorName, .. Shown.Parameters];

    /// <param name="type">Null for everything.</param>
    /// <param name="id">Null for all resources of the type.</param>
    public async Task<ReadOnlyMemory<byte>> PageAsync(string? type, string? id, IReadOnlyList<KeyValuePair<string, string>> query, bool lenient, CancellationToken ct)
    {
        if (type is null)
            ResourceAccess.RequireAll(calling, 's');
        else
            calling.Require(type, id is null ? 's' : 'r');
        if (id is not null && await store.ReadAsync(type!, id, ct) is null && await Reads.GoneAsync(store, type!, id, ct) is null)
            throw Reads.Missing($"{type}/{id}");
        var shown = Shown.Of(type, query, lenient);
        var sign = Sign(type, id, query);
        var page = await store.HistoryAsync(
            new HistoryQuery(type, id)
            {
                Count = shown.CountOnly ? 0 : CountOf(query),
                Since = Once(query, "_since") is { } since ? Moment(since) : null,
                At = Once(query, "_at") is { } at ? Span(at) : null,
                Before = Once(query, SearchQuery.CursorName) is { } cursor ? Place(cursor, sign) : null,
            },
            ct);

        var links = new List<(string, string)> { ("self", Link(type, id, query)) };
        if (page.Next is { } next)
            links.Add(("next", Link(type, id, [.. query.Where(q => q.Key != SearchQuery.CursorName), new(SearchQuery.CursorName, Cursor(next, sign))])));
        using var bundle = new BundleBody(settings.FhirBase, "history", page.Total, [.. links]);
        foreach (var version in page.Versions)
            bundle.Past(version, shown.Of(version.Json));
        return bundle.End();
    }

    private string Link(string? type, string? id, IEnumerable<KeyValuePair<string, string>> query)
    {
        var address = string.Join('/', new[] { settings.FhirBase, type, id, "_history" }.Where(part => part is not null));
        return QueryHelpers.AddQueryString(address, query.Where(q => Parameters.Contains(q.Key, StringComparer.Ordinal)).Select(q => KeyValuePair.Create(q.Key, (string?)q.Value)));
    }

    // A place belongs to the history it was given for: elsewhere it would leave out what it never showed.
    private static string Sign(string? type, string? id, IReadOnlyList<KeyValuePair<string, string>> query) =>
        string.Join('/', type, id, Once(query, "_since"), Once(query, "_at"));

    private static string Cursor(long place, string sign) => Base64Url.EncodeToString(Encoding.UTF8.GetBytes(string.Create(CultureInfo.InvariantCulture, $"{place} {sign}")));

    private static long Place(string cursor, string sign)
    {
        var text = Base64Url.IsValid(cursor) ? Encoding.UTF8.GetString(Base64Url.DecodeFromChars(cursor)) : "";
        return text.Split(' ', 2) is [var place, var given] && given == sign && long.TryParse(place, NumberStyles.None, CultureInfo.InvariantCulture, out var found)
            ? found
            : throw Unreadable(SearchQuery.CursorName, cursor, "the 'next' link of this history as it is, or none to start again");
    }

    private static int CountOf(IReadOnlyList<KeyValuePair<string, string>> query) => Once(query, "_count") is not { } count
        ? SearchQuery.UsualCount
        : int.TryParse(count, NumberStyles.None, CultureInfo.InvariantCulture, out var number)
            ? Math.Min(number, SearchQuery.LargestCount)
            : throw Unreadable("_count", count, "a whole number from 0");

    private static DateTimeOffset Moment(string text) =>
        DateTimeOffset.TryParse(text.Replace(' ', '+'), CultureInfo.InvariantCulture, DateTimeStyles.AssumeUniversal, out var at)
            ? at
            : throw Unreadable("_since", text, "an instant such as 2026-01-31T09:00:00Z");

    private static (DateTimeOffset, DateTimeOffset) Span(string text) =>
        HistoryQuery.Span(text) ?? throw Unreadable("_at", text, "a date or time such as 2026-01-31, 2026-01 or 2026-01-31T09:00:00Z");

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
