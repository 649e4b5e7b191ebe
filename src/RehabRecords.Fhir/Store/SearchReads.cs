using System.Data.Common;
using RehabRecords.Fhir.Search;

namespace RehabRecords.Fhir.Store;

/// <summary>Searches, each on one session and of one moment.</summary>
internal static class SearchReads
{
    /// <summary>Up to so many rows are sorted by themselves; where there are more, the index that is in order is walked.</summary>
    private const int MostSorted = 2000;

    /// <summary>The same of one person's, of which further criteria are looked up: a page may want all of them, and of so few that is sooner done in one go.</summary>
    private const int MostSortedOfPerson = 200;

    /// <summary>Up to so many addresses that a chain leads to are looked up by themselves.</summary>
    private const int MostResolved = 20;

    /// <summary>Pages of up to so many come with their resources; of longer ones these are fetched by and by, since not all may fit.</summary>
    private const int MostTogether = 64;

    private readonly record struct Row(long Num, object[] Keys, RecordVersion? Resource);

    /// <summary>Page, total and what goes along.</summary>
    public static SearchPage Search(Session session, SearchParameters parameters, SearchQuery query, DateTimeOffset now)
    {
        var cursor = Cursor.Read(query);
        return session.AtOneMoment(() =>
        {
            var resolved = Resolved(session, query, now);
            var room = new Room(query.Count, query.PageBytes);
            var together = query.Count <= MostTogether;
            var rows = query.Count == 0 ? [] : Rows(session, resolved, now, cursor, query.Count + 1, together ? room : null);
            var page = together ? [.. rows.Select(r => r.Resource).OfType<RecordVersion>()] : Bodies(session, rows, room);
            var more = page.Count < rows.Count;
            var included = Inclusions.Of(session, parameters, query, page, query.PageBytes - room.Taken);
            while (included is null && page.Count > 1)
            {
                // Fewer matches, so that each of them has with it what was asked for.
                page = page[..(page.Count / 2)];
                more = true;
                included = Inclusions.Of(session, parameters, query, page, query.PageBytes - page.Sum(v => (long)v.Json.Length));
            }

            var backwards = cursor is { Backwards: true };
            var (first, last) = page.Count == 0 ? (null, null) : backwards ? (rows[page.Count - 1].Keys, rows[0].Keys) : (rows[0].Keys, rows[page.Count - 1].Keys);
            if (backwards)
                page.Reverse();
            long? total = query.Count == 0 || (query.WantsTotal && (more || cursor is not null)) ? Total(session, resolved, now) : more || cursor is not null ? null : page.Count;
            return new SearchPage(
                page,
                included ?? throw Inclusions.TooMany(),
                total,
                last is not null && (more || backwards) ? Cursor.Write(query, backwards: false, last) : null,
                first is not null && (backwards ? more : cursor is not null) ? Cursor.Write(query, backwards: true, first) : null);
        });
    }

    public static List<RecordVersion> All(Session session, SearchQuery query, DateTimeOffset now) =>
        Bodies(session, Rows(session, Resolved(session, query, now), now, null, int.MaxValue), new Room(int.MaxValue, long.MaxValue));

    /// <summary>The statements by which a query would be answered, for a look at how the engine means to run them.</summary>
    internal static IEnumerable<(string Sql, object[] Values)> Statements(Session session, SearchQuery query, DateTimeOffset now)
    {
        var resolved = Resolved(session, query, now);
        foreach (var start in Starts(session, resolved, now))
        {
            var sql = new SearchSql(resolved, now, start, session.Engine);
            yield return (sql.PageWithResources(null, backwards: false, 51), sql.Values);
        }
    }

    private static List<Row> Rows(Session session, SearchQuery query, DateTimeOffset now, Cursor? cursor, int limit, Room? room = null)
    {
        var backwards = cursor is { Backwards: true };
        var starts = Starts(session, query, now);
        // What has the date comes before what has not.
        if (starts.Count > 1 && backwards)
            starts.Reverse();
        var found = new List<Row>();
        foreach (var start in starts)
        {
            if (starts.Count > 1 && cursor is not null && IsPast(start, query, cursor))
                continue;
            var sql = new SearchSql(query, now, start, session.Engine);
            found.AddRange(session.Rows(
                room is null ? sql.Page(cursor?.Keys, backwards, limit) : sql.PageWithResources(cursor?.Keys, backwards, limit),
                r =>
                {
                    // The row's number breaks ties, so it is the last key of a place.
                    var keys = new object[query.Sort.Count + 1];
                    for (var i = 0; i < query.Sort.Count; i++)
                        keys[i] = r.GetValue(i + 1);
                    keys[^1] = r.GetInt64(0);
                    return new Row(r.GetInt64(0), keys, room?.Take(r, query.Sort.Count + 1));
                },
                sql.Values));
            if (found.Count >= limit)
                break;
        }

        return found.Count > limit ? found[..limit] : found;
    }

    /// <summary>
    /// A query in which what a chain leads to is named, where that is little: mostly it is one person by an identifier, and by the person's address the
    /// results are found at once.
    /// </summary>
    private static SearchQuery Resolved(Session session, SearchQuery query, DateTimeOffset now) => query with
    {
        Criteria =
        [
            .. query.Criteria.Select(c =>
            {
                if (c is not ChainCriterion chain || chain.Targets.Any(t => t.Canonical is not null))
                    return c;
                var values = new ValueSql(now, session.Engine);
                var addresses = session.Rows($"SELECT address FROM ({new CriterionSql(values).Addresses(chain)}) a LIMIT {MostResolved + 1}", r => r.GetString(0), values.Values);
                return addresses.Count > MostResolved ? c : new ValueCriterion(chain.Parameter, [new ReferenceValue(addresses, null)]);
            }),
        ],
    };

    private static List<Start> Starts(Session session, SearchQuery query, DateTimeOffset now)
    {
        var driver = SearchSql.Driver(query);
        var walks = SearchSql.CanWalk(query);
        var ofPerson = SearchSql.WalksPerson(query);
        if (query.Criteria.Count == 1 && ofPerson)
            return [Start.Dated, Start.Undated];
        if (driver is not null && (walks || query.Sort is [{ Parameter.Code: "_lastUpdated" }, ..]) && query.Types.Count == 1)
        {
            var most = ofPerson ? MostSortedOfPerson : MostSorted;
            var (sql, values) = SearchSql.Probe(driver, now, most, session.Engine);
            if ((long)session.One(sql, values)! < most)
                return [Start.Criterion];
            return walks ? [Start.Dated, Start.Undated] : [Start.Type];
        }

        return driver is not null ? [Start.Criterion] : walks ? [Start.Dated, Start.Undated] : [Start.Type];
    }

    /// <summary>Whether all of a part of the order lies on the other side of the place.</summary>
    private static bool IsPast(Start start, SearchQuery query, Cursor cursor)
    {
        var atUndated = Equals(cursor.Keys[0], SortKeys.Missing(query.Sort[0]));
        return cursor.Backwards ? start == Start.Undated && !atUndated : start == Start.Dated && atUndated;
    }

    private static long Total(Session session, SearchQuery query, DateTimeOffset now)
    {
        var sql = new SearchSql(query with { Sort = [] }, now, SearchSql.Driver(query) is null ? Start.Type : Start.Criterion, session.Engine);
        return (long)session.One(sql.Total, sql.Values)!;
    }

    /// <summary>The resources of the rows, in their order; as many as there is room for.</summary>
    private static List<RecordVersion> Bodies(Session session, List<Row> rows, Room room)
    {
        var versions = new List<RecordVersion>(rows.Count);
        for (var at = 0; at < rows.Count && !room.IsFull; at += RecordReads.Batch)
        {
            var numbers = new object[RecordReads.Batch];
            for (var i = 0; i < RecordReads.Batch; i++)
                numbers[i] = at + i < rows.Count ? rows[at + i].Num : -1L;
            var fetched = session.Rows(_fetch, r => (Num: r.GetInt64(0), Version: RecordReads.Version(r, 1)), numbers).ToDictionary(f => f.Num, f => f.Version);
            for (var i = at; i < Math.Min(at + RecordReads.Batch, rows.Count); i++)
            {
                var version = fetched[rows[i].Num];
                if (!room.Takes(version))
                    return versions;
                versions.Add(version);
            }
        }

        return versions;
    }

    /// <summary>What a page has room for: so many, and so many bytes, but one in any case. Once something did not fit, nothing that comes later is taken.</summary>
    private sealed class Room(int count, long bytes)
    {
        private int _count = count;

        /// <summary>Bytes of what was taken.</summary>
        public long Taken { get; private set; }

        public bool IsFull => _count == 0;

        public bool Takes(RecordVersion version)
        {
            if (IsFull || (Taken > 0 && Taken + version.Json.Length > bytes))
            {
                _count = 0;
                return false;
            }

            (_count, Taken) = (_count - 1, Taken + version.Json.Length);
            return true;
        }

        /// <summary>The version in a row, if there is room; else it is not even read.</summary>
        public RecordVersion? Take(DbDataReader row, int at) => !IsFull && RecordReads.Version(row, at) is var version && Takes(version) ? version : null;
    }

    private static readonly string _fetch =
        $"SELECT r.num, {RecordReads.Columns} FROM resource r JOIN version v ON v.seq=r.seq AND v.person=r.person WHERE r.num IN ({RecordReads.Places(0)})";
}
