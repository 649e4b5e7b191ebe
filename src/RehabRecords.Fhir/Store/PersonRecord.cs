using RehabRecords.Fhir.Search;

namespace RehabRecords.Fhir.Store;

/// <summary>How much there is of a type.</summary>
public sealed record TypeCount(string Type, long Resources, long Versions);

/// <summary>
/// The record of one person in a snapshot. <b>Own</b> is what is about the person, in any of its versions, and what speaks of
/// that (provenance, audit). <b>Referred</b> is what own resources refer to and is about nobody: practitioners,
/// organisations, exercises, files. A version that is about somebody else counts as a deletion: it is not given out. The lists are temporary tables, so that their length costs no memory; the versions are looked through once, for a list of them
/// that answers all but their content.
/// </summary>
public sealed class PersonRecord
{
    /// <summary>True where a version holds nothing for this record. Parameter @p0 is the number of the person.</summary>
    private const string Gone = "(v.deleted=1 OR (k.linked=0 AND k.referred=0 AND v.person<>0 AND v.person<>@p0))";

    private readonly Session _session;
    private readonly Dialect _dialect;
    private readonly SearchParameters _parameters;
    private readonly long _person;
    private readonly string?[] _recent = new string?[4096];
    private int _round;

    private PersonRecord(Session session, Dialect dialect, SearchParameters parameters, string patientId)
    {
        _session = session;
        _dialect = dialect;
        _parameters = parameters;
        PatientId = patientId;
        _person = Person.Number(patientId);
    }

    public string PatientId { get; }

    private string Then => _dialect.JoinInOrder;

    private string Rows => $"SELECT {RecordReads.Columns} FROM kept k {Then} version v ON v.type=k.type AND v.id=k.id";

    private string Listed => $"SELECT {RecordReads.Columns} FROM held h {Then} version v ON v.seq=h.seq AND v.person=h.person";

    /// <summary>Versions of all that was gathered so far, deletions among them.</summary>
    public long Versions => (long)_session.One("SELECT count(*) FROM held")!;

    internal static PersonRecord Gather(Session session, Dialect dialect, SearchParameters parameters, string patientId)
    {
        var (text, end) = (dialect.TextType, dialect.ByKey);
        foreach (var table in (ReadOnlySpan<string>)["kept", "lead", "held"])
            session.Run($"DROP TABLE IF EXISTS {table}");
        session.Run($"CREATE TEMP TABLE kept (type {text} NOT NULL, id {text} NOT NULL, referred INTEGER NOT NULL, linked INTEGER NOT NULL, round INTEGER NOT NULL, PRIMARY KEY (type, id)) {end}");
        session.Run($"CREATE TEMP TABLE lead (type {text} NOT NULL, id {text} NOT NULL, canonical INTEGER NOT NULL, round INTEGER NOT NULL, PRIMARY KEY (type, id)) {end}");
        session.Run($"CREATE TEMP TABLE held (type {text} NOT NULL, id {text} NOT NULL, version INTEGER NOT NULL, seq BIGINT NOT NULL, referred INTEGER NOT NULL, gone INTEGER NOT NULL, deleted INTEGER NOT NULL, person BIGINT NOT NULL, PRIMARY KEY (type, id, version)) {end}");
        var record = new PersonRecord(session, dialect, parameters, patientId);
        record.GatherOwn();
        record.List(referred: false);
        return record;
    }

    public IReadOnlyList<TypeCount> Types(bool referred) => _session.Rows(
        "SELECT type, count(DISTINCT id), count(*) FROM held WHERE referred=@p0 AND gone=0 GROUP BY type ORDER BY type",
        r => new TypeCount(r.GetString(0), r.GetInt64(1), r.GetInt64(2)), referred ? 1 : 0);

    /// <summary>All versions of a type that hold something, by id and version.</summary>
    public IEnumerable<RecordVersion> Of(string type, bool referred) => _session.Each(
        $"{Listed} WHERE h.type=@p0 AND h.referred=@p1 AND h.gone=0 ORDER BY h.id, h.version", r => RecordReads.Version(r, 0), type, referred ? 1 : 0);

    /// <summary>The current version of every resource of a type that has one.</summary>
    public IEnumerable<RecordVersion> CurrentOf(string type) => _session.Each(
        $"SELECT {RecordReads.Columns} FROM kept k {Then} resource r ON r.type=k.type AND r.id=k.id JOIN version v ON v.seq=r.seq AND v.person=r.person WHERE k.type=@p1 AND NOT {Gone} ORDER BY k.id",
        r => RecordReads.Version(r, 0), _person, type);

    /// <summary>One version, or the current one; null where there is none in this record that holds something.</summary>
    public RecordVersion? Read(string type, string id, int? version = null) => _session.Rows(
        version is null
            ? $"SELECT {RecordReads.Columns} FROM kept k {Then} resource r ON r.type=k.type AND r.id=k.id JOIN version v ON v.seq=r.seq AND v.person=r.person WHERE k.type=@p1 AND k.id=@p2 AND NOT {Gone}"
            : $"{Rows} WHERE k.type=@p1 AND k.id=@p2 AND v.version=@p3 AND NOT {Gone}",
        r => RecordReads.Version(r, 0), version is { } number ? [_person, type, id, number] : [_person, type, id]).FirstOrDefault();

    public IEnumerable<RecordVersion> Deletions() => _session.Each($"{Listed} WHERE h.gone=1 ORDER BY h.type, h.id, h.version", r => RecordReads.Version(r, 0));

    /// <summary>Addresses of versions that are told as deletions because they are about somebody else.</summary>
    public IEnumerable<string> NoLongerOwn() => _session.Each("SELECT type, id, version FROM held WHERE gone=1 AND deleted=0 ORDER BY type, id, version", Address);

    /// <summary>Addresses of all versions, deletions among them, in the order in which they were committed.</summary>
    public IEnumerable<string> Order() => _session.Each("SELECT type, id, version FROM held ORDER BY seq", Address);

    public bool Holds(string type, string id) => _session.One("SELECT 1 FROM kept WHERE type=@p0 AND id=@p1", type, id) is not null;

    /// <summary>Notes what a version refers to, for <see cref="GatherReferred"/>.</summary>
    public void Follow(RecordVersion version)
    {
        // A document holds copies of what it refers to, so its references are answered inside it.
        if (version.Type != "Bundle")
            ReferenceScan.Read(version.Json.Span, Note);
    }

    /// <summary>Adds what was referred to and is about nobody, then what that refers to, and so on.</summary>
    public void GatherReferred()
    {
        while (true)
        {
            _round++;
            _session.Flush();
            _dialect.Counted(_session, "lead");
            _session.Run(
                $"INSERT INTO kept SELECT r.type, r.id, 1, 0, @p0 FROM lead l {Then} resource r ON r.type=l.type AND r.id=l.id "
                + "WHERE l.canonical=0 AND l.round=@p1 AND NOT EXISTS (SELECT 1 FROM version v WHERE v.type=r.type AND v.id=r.id AND v.person<>0) ON CONFLICT DO NOTHING",
                _round, _round - 1);
            foreach (var type in (ReadOnlySpan<string>)["ActivityDefinition", "PlanDefinition"])
            {
                if (_parameters.Find(type, "url") is not { } url || _parameters.Find(type, "version") is not { } version)
                    continue;
                _session.Run(
                    $"INSERT INTO kept SELECT r.type, r.id, 1, 0, @p0 FROM lead l {Then} uri_row u ON u.parameter=@p2 AND u.value=l.type JOIN resource r ON r.num=u.res "
                    + "WHERE l.canonical=1 AND l.round=@p1 AND (l.id='' OR EXISTS (SELECT 1 FROM token_row t WHERE t.res=r.num AND t.parameter=@p3 AND t.code=l.id)) ON CONFLICT DO NOTHING",
                    _round, _round - 1, url.Key, version.Key);
            }

            var added = _session.Rows("SELECT type, id FROM kept WHERE round=@p0 AND referred=1", r => (Type: r.GetString(0), Id: r.GetString(1)), _round);
            if (added.Count == 0)
            {
                List(referred: true);
                return;
            }

            foreach (var (type, id) in added)
                foreach (var version in RecordReads.History(_session, type, id))
                    if (!version.Deleted)
                        Follow(version);
        }
    }

    /// <summary>References that lead to something which is not in this record: it is about somebody else, or is not in the store.</summary>
    public IEnumerable<string> Outside() => _session.Each(
        "SELECT l.type, l.id FROM lead l WHERE l.canonical=0 AND NOT EXISTS (SELECT 1 FROM kept k WHERE k.type=l.type AND k.id=l.id) ORDER BY l.type, l.id",
        r => $"{r.GetString(0)}/{r.GetString(1)}");

    private static string Address(System.Data.Common.DbDataReader row) => $"{row.GetString(0)}/{row.GetString(1)}/_history/{row.GetInt32(2)}";

    /// <summary>Notes the versions of what was gathered.</summary>
    private void List(bool referred)
    {
        _dialect.Counted(_session, "kept");
        _session.Run(
            $"INSERT INTO held SELECT v.type, v.id, v.version, v.seq, k.referred, CASE WHEN {Gone} THEN 1 ELSE 0 END, v.deleted, v.person "
            + $"FROM kept k {Then} version v ON v.type=k.type AND v.id=k.id WHERE k.referred=@p1",
            _person, referred ? 1 : 0);
        _dialect.Counted(_session, "held");
    }

    private void GatherOwn()
    {
        _session.Run("INSERT INTO kept SELECT DISTINCT type, id, 0, 0, 0 FROM version WHERE person=@p0 AND person<>0", _person);
        _session.Run("INSERT INTO kept VALUES ('Patient', @p0, 0, 0, 0) ON CONFLICT DO NOTHING", PatientId);
        // Two people may be linked; the other one's record is their own.
        var linked = string.Join(',', _parameters.Compartment.Keys.DefaultIfEmpty(0));
        _session.Run($"INSERT INTO kept SELECT DISTINCT r.type, r.id, 0, 1, 0 FROM reference_row x JOIN resource r ON r.num=x.res WHERE x.parameter IN ({linked}) AND x.target=@p0 AND r.type<>'Patient' ON CONFLICT (type, id) DO UPDATE SET linked=1", $"Patient/{PatientId}");
        // In rounds, since provenance may have provenance.
        var following = string.Join(',', _parameters.Compartment.Following.Select(f => f.Key).DefaultIfEmpty(0));
        do
        {
            _round++;
            _dialect.Counted(_session, "kept");
        }
        while (_session.Run(
            $"INSERT INTO kept SELECT r.type, r.id, 0, 0, @p0 FROM kept k {Then} reference_row x ON x.target = k.type || '/' || k.id JOIN resource r ON r.num=x.res "
            + $"WHERE k.round=@p1 AND x.parameter IN ({following}) AND r.person=0 ON CONFLICT DO NOTHING",
            _round, _round - 1) > 0);
        GatherDeleted();
        _session.Run("UPDATE kept SET round=0");
        _round = 0;
    }

    /// <summary>A deletion takes the rows of the index with it, so what follows and was deleted is looked at itself; there is little of it.</summary>
    private void GatherDeleted()
    {
        var types = string.Join(',', _parameters.Compartment.Following.Select(f => $"'{f.Type}'").Distinct().DefaultIfEmpty("''"));
        foreach (var (type, id) in _session.Rows($"SELECT type, id FROM resource WHERE type IN ({types}) AND deleted=1 AND person=0", r => (r.GetString(0), r.GetString(1))))
        {
            var isOurs = false;
            foreach (var version in RecordReads.History(_session, type, id))
                if (!version.Deleted)
                    ReferenceScan.Read(version.Json.Span, found => isOurs |= found.Address is { } to && Holds(to.Type, to.Id));
            if (isOurs)
                _session.Run("INSERT INTO kept VALUES (@p0, @p1, 0, 0, 0) ON CONFLICT DO NOTHING", type, id);
        }
    }

    private void Note(FoundReference found)
    {
        // The same few are met over and over: what was seen lately need not be noted again.
        var place = (int)((uint)string.GetHashCode(found.Text) % (uint)_recent.Length);
        if (_recent[place] == found.Text)
            return;
        _recent[place] = found.Text;
        if (found.Address is { } to)
            _session.Later("INSERT INTO lead VALUES (@p0, @p1, 0, @p2) ON CONFLICT DO NOTHING", to.Type, to.Id, _round);
        else if (found.IsCanonical)
        {
            var parts = found.Text.Split('|', 2);
            _session.Later("INSERT INTO lead VALUES (@p0, @p1, 1, @p2) ON CONFLICT DO NOTHING", LongText.Short(parts[0]), parts.Length > 1 ? parts[1] : "", _round);
        }
    }
}
