using RehabRecords.Fhir.Search;

namespace RehabRecords.Fhir.Store;

/// <summary>Which versions are wanted: of one resource, of a type, or of everything.</summary>
/// <param name="Type">Null for all types.</param>
/// <param name="Id">Null for all resources.</param>
public sealed record HistoryQuery(string? Type = null, string? Id = null)
{
    /// <summary>Most versions on a page; 0 asks for their number only.</summary>
    public int Count { get; init; } = SearchQuery.UsualCount;

    /// <summary>Only what was written at or after this.</summary>
    public DateTimeOffset? Since { get; init; }

    /// <summary>Only what was current at some moment from the first time to before the second.</summary>
    public (DateTimeOffset From, DateTimeOffset To)? At { get; init; }

    internal PeopleLimit? Limit { get; init; }

    /// <summary>Only what was committed before this place, to go on from a page.</summary>
    public long? Before { get; init; }

    /// <summary>The time that a FHIR date or time stands for, such as all of March; null when the text is none.</summary>
    public static (DateTimeOffset From, DateTimeOffset To)? Span(string text) =>
        DateRange.Parse(text) is { } range ? (DateRange.Time(range.Start), DateRange.Time(range.Finish)) : null;
}

/// <param name="Versions">The newest first, deletions among them.</param>
/// <param name="Total">All versions on all pages, where it costs little to know or was asked for.</param>
/// <param name="Next">Place from which the next page goes on; null on the last.</param>
public sealed record HistoryPage(IReadOnlyList<RecordVersion> Versions, long? Total, long? Next);

/// <summary>
/// Versions in the order of commits, backwards. A page goes on from a place in that order, so versions that are written
/// meanwhile neither shift a page nor appear in the middle of it.
/// </summary>
internal static class RecordHistory
{
    public static HistoryPage Page(Session session, HistoryQuery query)
    {
        List<object> values = [];
        var wanted = Wanted(query, values);
        long? total = query.Count == 0 || query.Id is not null ? (long)session.One("SELECT COUNT(*) FROM version v WHERE " + wanted, [.. values])! : null;
        if (query.Count == 0)
            return new HistoryPage([], total, null);
        if (query.Before is { } before)
        {
            values.Add(before);
            wanted += $" AND v.seq<@p{values.Count - 1}";
        }
        // One more than asked for tells that there is a next page.
        values.Add(query.Count + 1);
        var found = session.Rows($"SELECT {RecordReads.Columns} FROM version v WHERE {wanted} ORDER BY v.seq DESC LIMIT @p{values.Count - 1}", row => RecordReads.Version(row, 0), [.. values]);
        if (found.Count > query.Count)
            return new HistoryPage(found[..query.Count], total, found[query.Count - 1].Sequence);
        return new HistoryPage(found, total ?? (query.Before is null ? found.Count : null), null);
    }

    private static string Wanted(HistoryQuery query, List<object> values)
    {
        List<string> conditions = [query.Limit?.Condition("v") ?? "1=1"];
        string Add(object value)
        {
            values.Add(value);
            return $"@p{values.Count - 1}";
        }

        if (query.Type is not null)
            conditions.Add($"v.type={Add(query.Type)}");
        if (query.Id is not null)
            conditions.Add($"v.id={Add(query.Id)}");
        if (query.Since is { } since)
        {
            var from = Add(DateRange.Microseconds(since));
            // Where to stop going back; versions are committed nearly in the order of their times.
            conditions.Add($"v.updated>={from} AND v.seq>=(SELECT MIN(s.seq) FROM version s WHERE s.updated>={from})");
        }
        if (query.At is { } at)
        {
            var from = Add(DateRange.Microseconds(at.From));
            // A deletion happens at a moment; after it nothing is current.
            conditions.Add($"v.updated<{Add(DateRange.Microseconds(at.To))} AND (v.updated>={from} OR (v.deleted=0 AND NOT EXISTS "
                + $"(SELECT 1 FROM version n WHERE n.type=v.type AND n.id=v.id AND n.version=v.version+1 AND n.updated<={from})))");
        }
        return string.Join(" AND ", conditions);
    }
}
