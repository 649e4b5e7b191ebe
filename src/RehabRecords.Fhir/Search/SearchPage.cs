using System.Globalization;
using System.Text;
using System.Text.Json;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Fhir.Search;

/// <param name="Matches">In the order asked for; else oldest resource first.</param>
/// <param name="Included">What was to be sent along; none twice, and none that is a match.</param>
/// <param name="Total">All matches on all pages, where asked for or known anyway.</param>
/// <param name="Next">Value of <see cref="SearchQuery.CursorName"/> for the next page; null on the last.</param>
public sealed record SearchPage(IReadOnlyList<RecordVersion> Matches, IReadOnlyList<RecordVersion> Included, long? Total, string? Next);

/// <summary>
/// A place in an order of matches, not a count of them: resources that come or go meanwhile make no other one be sent
/// twice or left out.
/// </summary>
internal static class Cursor
{
    public static string Write(SearchQuery query, IReadOnlyList<object> keys)
    {
        var parts = new[] { query.Sign }.Concat(keys.Select(k => Convert.ToString(k, CultureInfo.InvariantCulture)!));
        return Convert.ToBase64String(JsonSerializer.SerializeToUtf8Bytes(parts)).TrimEnd('=').Replace('+', '-').Replace('/', '_');
    }

    public static IReadOnlyList<object>? Read(SearchQuery query)
    {
        if (query.Cursor is null)
            return null;
        try
        {
            var text = query.Cursor.Replace('-', '+').Replace('_', '/');
            var parts = JsonSerializer.Deserialize<string[]>(Encoding.UTF8.GetString(Convert.FromBase64String(text + new string('=', (4 - (text.Length % 4)) % 4))))!;
            if (parts.Length == query.Sort.Count + 2 && parts[0] == query.Sign)
                return [.. parts[1..].Select((part, i) => i < query.Sort.Count && query.Sort[i].Parameter.Code == "_id" ? (object)part : long.Parse(part, CultureInfo.InvariantCulture))];
        }
        catch (Exception e) when (e is FormatException or JsonException or OverflowException or ArgumentNullException)
        {
        }

        throw SearchQuery.Bad(SearchQuery.CursorName, "it was not given by this search; follow the 'next' link as it is, or start again without it");
    }
}
