using System.Globalization;
using System.Text;
using System.Text.Json;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Fhir.Search;

/// <param name="Matches">In the order asked for; else oldest resource first.</param>
/// <param name="Included">What was to be sent along; none twice, and none that is a match.</param>
/// <param name="Total">All matches on all pages, where asked for or known anyway.</param>
/// <param name="Next">Value of <see cref="SearchQuery.CursorName"/> for the next page; null on the last.</param>
/// <param name="Previous">The same for the page before; null on the first.</param>
public sealed record SearchPage(IReadOnlyList<RecordVersion> Matches, IReadOnlyList<RecordVersion> Included, long? Total, string? Next, string? Previous = null);

/// <summary>
/// A place in an order of matches, not a count of them: resources that come or go meanwhile make no other one be sent
/// twice or left out.
/// </summary>
/// <param name="Backwards">Those before the place are wanted, not those after it.</param>
/// <param name="Keys">Sort keys and number of the row at the place.</param>
internal sealed record Cursor(bool Backwards, IReadOnlyList<object> Keys)
{
    public static string Write(SearchQuery query, bool backwards, IReadOnlyList<object> keys)
    {
        var parts = new[] { query.Sign, backwards ? "b" : "a" }.Concat(keys.Select(SortKeys.Write));
        return Convert.ToBase64String(JsonSerializer.SerializeToUtf8Bytes(parts)).TrimEnd('=').Replace('+', '-').Replace('/', '_');
    }

    public static Cursor? Read(SearchQuery query)
    {
        if (query.Cursor is null)
            return null;
        try
        {
            var text = query.Cursor.Replace('-', '+').Replace('_', '/');
            var parts = JsonSerializer.Deserialize<string[]>(Encoding.UTF8.GetString(Convert.FromBase64String(text + new string('=', (4 - (text.Length % 4)) % 4))))!;
            if (parts.Length == query.Sort.Count + 3 && parts[0] == query.Sign && parts[1] is "a" or "b")
                return new Cursor(parts[1] == "b", [.. query.Sort.Select((key, i) => SortKeys.Read(key, parts[i + 2])), long.Parse(parts[^1], CultureInfo.InvariantCulture)]);
        }
        catch (Exception e) when (e is FormatException or JsonException or OverflowException or ArgumentNullException or IndexOutOfRangeException)
        {
        }

        throw SearchQuery.Bad(SearchQuery.CursorName, "it was not given by this search; follow the 'next' link as it is, or start again without it");
    }
}
