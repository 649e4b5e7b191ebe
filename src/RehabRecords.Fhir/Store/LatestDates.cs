using RehabRecords.Fhir.Search;

namespace RehabRecords.Fhir.Store;

/// <summary>When something of a person's record last took place, read from the search index alone.</summary>
internal static class LatestDates
{
    /// <param name="by">Types and their date parameters.</param>
    /// <param name="now">What is later does not count; of a period that has not ended its beginning does.</param>
    public static Dictionary<string, DateTimeOffset> Read(Session session, SearchParameters parameters, IEnumerable<(string Type, string Code)> by, DateTimeOffset now)
    {
        var keys = string.Join(',', by.Select(p => parameters.Find(p.Type, p.Code)?.Key).OfType<int>().DefaultIfEmpty(0));
        return session.Rows(
            "SELECT r.id, MAX(CASE WHEN d.finish<=@p0 THEN d.finish-1 ELSE d.start END) FROM date_row d JOIN resource r ON r.person=d.person AND r.type='Patient' "
            + $"WHERE d.person<>0 AND d.parameter IN ({keys}) AND d.start<=@p0 GROUP BY r.id",
            r => (Id: r.GetString(0), At: DateRange.Time(r.GetInt64(1))), DateRange.Microseconds(now)).ToDictionary(r => r.Id, r => r.At, StringComparer.Ordinal);
    }
}
