using System.Data.Common;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Search;

namespace RehabRecords.Fhir.Store;

/// <summary>The reads of the record, each on one session.</summary>
internal static class RecordReads
{
    private const int MostIncluded = 1000;
    public const string Columns = "v.seq, v.type, v.id, v.version, v.deleted, v.updated, v.json";

    public static RecordVersion? Current(Session session, string type, string id) =>
        session.Rows($"SELECT {Columns} FROM resource r JOIN version v ON v.seq=r.seq WHERE r.type=@p0 AND r.id=@p1", r => Version(r, 0), type, id).FirstOrDefault();

    public static RecordVersion? At(Session session, string type, string id, int version) =>
        session.Rows($"SELECT {Columns} FROM version v WHERE v.type=@p0 AND v.id=@p1 AND v.version=@p2", r => Version(r, 0), type, id, version).FirstOrDefault();

    public static List<RecordVersion> History(Session session, string type, string id) =>
        session.Rows($"SELECT {Columns} FROM version v WHERE v.type=@p0 AND v.id=@p1 ORDER BY v.version DESC", r => Version(r, 0), type, id);

    public static DateTimeOffset? UpdatedAt(Session session, string type, string id, int version) =>
        session.One("SELECT updated FROM version WHERE type=@p0 AND id=@p1 AND version=@p2", type, id, version) is long updated ? DateRange.Time(updated) : null;

    public static string? Holder(Session session, string type, string system, string value) =>
        (string?)session.One("SELECT id FROM claim WHERE type=@p0 AND system=@p1 AND value=@p2", type, system, value);

    /// <summary>Page, total and what goes along, all of one moment.</summary>
    public static SearchPage Search(Session session, SearchQuery query, DateTimeOffset now)
    {
        var after = Cursor.Read(query);
        session.Run("BEGIN");
        try
        {
            var found = query.Count == 0 ? [] : Rows(session, query, now, after, query.Count + 1);
            var more = found.Count > query.Count;
            var page = more ? found[..query.Count] : found;
            long? total = query.Count == 0 || (query.WantsTotal && (more || after is not null)) ? Total(session, query, now) : more || after is not null ? null : page.Count;
            var included = query.Inclusions.Count == 0 ? [] : Included(session, query, page);
            return new SearchPage([.. page.Select(p => p.Version)], included, total, more ? Cursor.Write(query, page[^1].Keys) : null);
        }
        finally
        {
            session.Run("COMMIT");
        }
    }

    public static List<RecordVersion> All(Session session, SearchQuery query, DateTimeOffset now) =>
        [.. Rows(session, query, now, null, int.MaxValue).Select(r => r.Version)];

    private static List<(object[] Keys, RecordVersion Version)> Rows(Session session, SearchQuery query, DateTimeOffset now, IReadOnlyList<object>? after, int limit)
    {
        var sql = new SearchSql(query, now);
        var text = sql.Page(after, limit);
        return session.Rows(
            text,
            r =>
            {
                // The row's number breaks ties, so it is the last key of a place.
                var keys = new object[sql.Keys + 1];
                for (var i = 0; i < sql.Keys; i++)
                    keys[i] = r.GetValue(i + 1);
                keys[^1] = r.GetInt64(0);
                return (keys, Version(r, sql.Keys + 1));
            },
            sql.Values);
    }

    private static long Total(Session session, SearchQuery query, DateTimeOffset now)
    {
        var sql = new SearchSql(query with { Sort = [] }, now);
        return (long)session.One(sql.Total, sql.Values)!;
    }

    private static List<RecordVersion> Included(Session session, SearchQuery query, List<(object[] Keys, RecordVersion Version)> page)
    {
        var found = new Dictionary<string, RecordVersion>(StringComparer.Ordinal);
        var matches = page.Select(p => p.Version.Address).ToHashSet(StringComparer.Ordinal);
        foreach (var inclusion in query.Inclusions)
        {
            foreach (var (keys, version) in page)
            {
                foreach (var extra in inclusion.Reverse ? Referring(session, inclusion, version) : Referred(session, inclusion, (long)keys[^1]))
                    if (!extra.Deleted && !matches.Contains(extra.Address))
                        found.TryAdd(extra.Address, extra);
                if (found.Count > MostIncluded)
                    throw new RefusedException(
                        Refusal.TooLarge, OperationOutcome.IssueType.TooCostly, $"More than {MostIncluded} resources would be sent along with this page. Ask for a smaller _count, or search for them by themselves.");
            }
        }

        return [.. found.Values];
    }

    private static IEnumerable<RecordVersion> Referred(Session session, Inclusion inclusion, long res)
    {
        foreach (var target in session.Rows("SELECT DISTINCT target FROM reference_row WHERE res=@p0 AND parameter=@p1", r => r.GetString(0), res, inclusion.Parameter.Key))
            if (ReferenceTypes.Split(target) is { Base: "" } parts && (inclusion.Target is null || inclusion.Target == parts.Type) && Current(session, parts.Type, parts.Id) is { } version)
                yield return version;
    }

    private static List<RecordVersion> Referring(Session session, Inclusion inclusion, RecordVersion match) =>
        inclusion.Target is not null && inclusion.Target != match.Type
            ? []
            : session.Rows(
                $"SELECT DISTINCT {Columns} FROM reference_row d JOIN resource r ON r.num=d.res JOIN version v ON v.seq=r.seq WHERE d.parameter=@p0 AND d.target=@p1 ORDER BY v.seq LIMIT {MostIncluded + 1}",
                r => Version(r, 0),
                inclusion.Parameter.Key,
                match.Address);

    public static RecordVersion Version(DbDataReader row, int at) => new(
        row.GetInt64(at),
        row.GetString(at + 1),
        row.GetString(at + 2),
        row.GetInt32(at + 3),
        row.GetInt32(at + 4) == 1,
        DateRange.Time(row.GetInt64(at + 5)),
        row.GetFieldValue<byte[]>(at + 6));
}
