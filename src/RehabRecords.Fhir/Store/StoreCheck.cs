using System.Data.Common;
using System.Globalization;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Search;

namespace RehabRecords.Fhir.Store;

/// <summary>What a look at a whole store came to.</summary>
/// <param name="Versions">How many were read and compared with their digests.</param>
/// <param name="Resources">Of how many current resources the index was made anew and compared.</param>
/// <param name="Engine">What the engine was asked about its own files, in words.</param>
public sealed record StoreVerdict(long Versions, long Resources, long Problems, string Engine)
{
    public bool IsWhole => Problems == 0;
}

/// <summary>
/// Reads a whole store as it is at one moment, while it may be in use, and changes nothing: what the engine says of its own files, each
/// version against its digest, the current versions and the histories against each other, and the index against what it is made from.
/// </summary>
public sealed class StoreCheck
{
    private const int Turn = 200;

    private readonly Session _session;
    private readonly SearchIndexer _indexer;
    private readonly Action<string> _tell;
    private readonly Action<string, long>? _progress;
    private readonly HashSet<(string Type, string Id, long Version)> _damaged = [];
    private long _problems;

    private StoreCheck(Session session, SearchIndexer indexer, Action<string> tell, Action<string, long>? progress) =>
        (_session, _indexer, _tell, _progress) = (session, indexer, tell, progress);

    /// <param name="tell">Hears of each thing that is wrong, in a sentence that names the row.</param>
    /// <exception cref="StoreUnusableException">There is no store, or it is of another schema.</exception>
    public static StoreVerdict Run(StorePlace place, SearchIndexer indexer, Action<string> tell, Action<string, long>? progress = null, CancellationToken ct = default)
    {
        using var dialect = place.Look();
        using var session = new Session(dialect.OpenScratch(), dialect);
        if (!dialect.HasDigests(session))
            throw new StoreUnusableException($"There is no store in {place.Name}, or an older program wrote it: start the service on it once.");
        return new StoreCheck(session, indexer, tell, progress).Run(dialect, ct);
    }

    private StoreVerdict Run(Dialect dialect, CancellationToken ct)
    {
        var (asked, wrong) = dialect.OwnVerdict(_session);
        wrong.ForEach(Tell);
        var (versions, resources) = (0L, 0L);
        try
        {
            _session.Run(dialect.BeginScratch);
            versions = Versions(ct);
            Histories();
            if (StoreFacts.Of(_session, StoreFacts.IndexName) == _indexer.Fingerprint)
                resources = Index(ct);
            else
                Tell("The index was made by other search definitions than this program has; start the service once, which makes it anew.");
            _session.Run("COMMIT");
        }
        catch (DbException unreadable)
        {
            // What the engine cannot read ends the look: nothing after it would be of the same moment.
            Tell($"The database cannot read a part of it: {unreadable.Message} What comes after was not looked at.");
        }

        return new StoreVerdict(versions, resources, _problems, asked);
    }

    private long Versions(CancellationToken ct)
    {
        var (read, without) = (0L, 0L);
        foreach (var row in _session.Each(
            "SELECT type, id, version, deleted, updated, json, digest FROM version ORDER BY seq",
            r => (Type: r.GetString(0), Id: r.GetString(1), Version: r.GetInt64(2), Deleted: r.GetInt64(3) == 1, Updated: r.GetInt64(4), Json: r.GetFieldValue<byte[]>(5), Digest: r.IsDBNull(6) ? null : r.GetFieldValue<byte[]>(6))))
        {
            if (row.Digest is null)
                without++;
            else if (!row.Digest.AsSpan().SequenceEqual(VersionDigest.Of(row.Type, row.Id, row.Version, row.Deleted, row.Updated, row.Json)))
            {
                _damaged.Add((row.Type, row.Id, row.Version));
                Tell($"{row.Type}/{row.Id}/_history/{row.Version} is not as it was stored: its bytes do not fit their digest.");
            }

            Passed("versions", ++read, ct);
        }

        if (without > 0)
            Tell($"{without} versions have no digest: an older program wrote them. Start the service once, which writes them.");
        return read;
    }

    private void Histories()
    {
        void Each(string sql, Func<DbDataReader, string> sentence)
        {
            foreach (var found in _session.Each(sql, sentence))
                Tell(found);
        }

        Each(
            "SELECT type, id, count(*), max(version) FROM version GROUP BY type, id HAVING count(*)<>max(version) OR min(version)<>1 ORDER BY type, id",
            r => $"{r.GetString(0)}/{r.GetString(1)} has {r.GetInt64(2)} versions, and the highest is {r.GetInt64(3)}: one is missing.");
        Each(
            "SELECT r.type, r.id, r.version FROM resource r LEFT JOIN version v ON v.seq=r.seq AND v.person=r.person "
            + "WHERE v.seq IS NULL OR v.type<>r.type OR v.id<>r.id OR v.version<>r.version OR v.deleted<>r.deleted OR v.updated<>r.updated ORDER BY r.num",
            r => $"{r.GetString(0)}/{r.GetString(1)} says that version {r.GetInt64(2)} is its current one, and there is no such version at the place it names.");
        Each(
            "SELECT h.type, h.id, h.last FROM (SELECT type, id, max(version) AS last FROM version GROUP BY type, id) h LEFT JOIN resource r ON r.type=h.type AND r.id=h.id WHERE r.num IS NULL OR r.version<>h.last ORDER BY h.type, h.id",
            r => $"{r.GetString(0)}/{r.GetString(1)} has a version {r.GetInt64(2)} that is not the current one, and should be.");
        Each(
            "SELECT c.type, c.id, c.system, c.value FROM claim c LEFT JOIN resource r ON r.type=c.type AND r.id=c.id WHERE r.num IS NULL ORDER BY c.type, c.id",
            r => $"{r.GetString(0)}/{r.GetString(1)} holds the identifier {r.GetString(2)}|{r.GetString(3)}, and there is no such resource.");
    }

    /// <summary>Makes the rows of the index anew, some resources at a time, and compares them with those that are there.</summary>
    private long Index(CancellationToken ct)
    {
        var (resources, from) = (0L, long.MinValue);
        while (true)
        {
            var turn = _session.Rows(
                $"SELECT r.num, r.person, r.type, r.id, r.version, v.json FROM resource r JOIN version v ON v.seq=r.seq AND v.person=r.person WHERE r.num>@p0 ORDER BY r.num LIMIT {Turn}",
                r => (Num: r.GetInt64(0), Person: r.GetInt64(1), Type: r.GetString(2), Id: r.GetString(3), Version: r.GetInt64(4), Json: r.GetFieldValue<byte[]>(5)),
                from);
            // The last turn looks beyond the last resource, for rows of none.
            var to = turn.Count == Turn ? turn[^1].Num : long.MaxValue;
            var made = new IndexRows?[turn.Count];
            // What does not fit its digest was told of, and tells nothing of the index.
            System.Threading.Tasks.Parallel.For(0, turn.Count, i => made[i] = _damaged.Contains((turn[i].Type, turn[i].Id, turn[i].Version)) ? null : Made(turn[i].Json));
            var expected = new Dictionary<(long Num, string Table), IEnumerable<string>>();
            foreach (var (one, rows) in turn.Zip(made))
            {
                if (rows is null)
                    continue;
                foreach (var (table, values) in SetWriter.Values(rows))
                    expected[(one.Num, table.Name)] = values.Select(v => Line([one.Person, .. v]));
                expected[(one.Num, "claim")] = rows.Claims.Select(c => Line([one.Person, LongText.Short(c.System), LongText.Short(c.Value), IdentifierScope.Of(one.Type, one.Person)]));
            }

            var names = turn.ToDictionary(t => t.Num, t => $"{t.Type}/{t.Id}");
            foreach (var (one, _) in turn.Zip(made).Where(t => t.Second is null && !_damaged.Contains((t.First.Type, t.First.Id, t.First.Version))))
                Tell($"{one.Type}/{one.Id} cannot be read as a resource.");
            var unknown = turn.Where((_, i) => made[i] is null).Select(t => t.Num).ToHashSet();
            foreach (var (table, sql) in _tables)
            {
                var there = _session.Rows(sql, r => (Num: r.GetInt64(0), Line: Line([.. Enumerable.Range(1, r.FieldCount - 1).Select(r.GetValue)])), from, to).ToLookup(r => r.Num, r => r.Line);
                foreach (var num in names.Keys.Union(there.Select(g => g.Key)).Where(n => !unknown.Contains(n)))
                    if (!there[num].Order(StringComparer.Ordinal).SequenceEqual(expected.GetValueOrDefault((num, table), []).Order(StringComparer.Ordinal), StringComparer.Ordinal))
                        Tell(names.TryGetValue(num, out var name) ? $"The rows of {name} in {table} are not those that it should be found by." : $"{table} has rows of a resource that does not exist (number {num}).");
            }

            resources += turn.Count;
            if (turn.Count < Turn)
                return resources;
            from = to;
            Passed("resources", resources, ct);
        }
    }

    /// <summary>Null where it cannot be read; a deletion has nothing to be found by.</summary>
    private IndexRows? Made(byte[] json)
    {
        try
        {
            return json.Length == 0 ? new IndexRows() : _indexer.Index(ResourceReader.Trusted<Resource>(json));
        }
        catch (InvalidDataException)
        {
            return null;
        }
    }

    private static readonly (string Table, string Sql)[] _tables =
    [
        .. SetWriter.Values(new IndexRows()).Select(t => (t.Table.Name, $"SELECT res, person, {string.Join(", ", t.Table.Columns)} FROM {t.Table.Name} WHERE res>@p0 AND res<=@p1")),
        ("claim", "SELECT r.num, c.person, c.system, c.value, c.scope FROM resource r JOIN claim c ON c.type=r.type AND c.id=r.id WHERE r.num>@p0 AND r.num<=@p1"),
    ];

    private static string Line(IReadOnlyList<object> values) => string.Join('\u001f', values.Select(v => v is DBNull ? "\u0000" : Convert.ToString(v, CultureInfo.InvariantCulture)));

    private void Tell(string problem)
    {
        _problems++;
        _tell(problem);
    }

    private void Passed(string what, long count, CancellationToken ct)
    {
        if (count % 10_000 != 0)
            return;
        ct.ThrowIfCancellationRequested();
        _progress?.Invoke(what, count);
    }
}
