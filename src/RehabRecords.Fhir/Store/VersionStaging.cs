using Microsoft.Data.Sqlite;
using RehabRecords.Fhir.Search;

namespace RehabRecords.Fhir.Store;

/// <summary>
/// Versions that came from elsewhere, laid out to be checked as a whole and then restored in the order of their commits. In
/// a temporary file of the engine's own, gone when this is disposed: how many there are costs no memory.
/// </summary>
public sealed class VersionStaging : IDisposable
{
    private readonly Session _session;
    private readonly bool _keepBytes;

    /// <param name="keepBytes">False for one who only checks.</param>
    public VersionStaging(bool keepBytes)
    {
        _keepBytes = keepBytes;
        var connection = new SqliteConnection(new SqliteConnectionStringBuilder { DataSource = "", Pooling = false }.ToString());
        connection.Open();
        _session = new Session(connection);
        _session.Run("PRAGMA synchronous=OFF");
        _session.Run("CREATE TABLE staged (type TEXT NOT NULL, id TEXT NOT NULL, version INTEGER NOT NULL, deleted INTEGER NOT NULL, updated INTEGER NOT NULL, place INTEGER, json BLOB NOT NULL, PRIMARY KEY (type, id, version))");
        _session.Run("CREATE TABLE cited (type TEXT NOT NULL, id TEXT NOT NULL, version INTEGER NOT NULL, by TEXT NOT NULL, PRIMARY KEY (type, id, version)) WITHOUT ROWID");
        _session.Run("BEGIN");
    }

    /// <summary>False when that version is there already.</summary>
    public bool Add(RecordVersion version) => _session.Run(
        "INSERT INTO staged (type, id, version, deleted, updated, json) VALUES (@p0, @p1, @p2, @p3, @p4, @p5) ON CONFLICT DO NOTHING",
        version.Type, version.Id, version.Version, version.Deleted ? 1 : 0, DateRange.Microseconds(version.LastUpdated), _keepBytes ? version.Json.ToArray() : Array.Empty<byte>()) == 1;

    /// <summary>Notes a reference that has to lead somewhere; version 0 for any.</summary>
    public void Cite(string type, string id, int? version, string by) =>
        _session.Run("INSERT INTO cited VALUES (@p0, @p1, @p2, @p3) ON CONFLICT DO NOTHING", type, id, version ?? 0, by);

    /// <summary>Puts a version in its place in the order of commits; false when there is no such version or it has a place.</summary>
    public bool Place(string type, string id, int version, long place) =>
        _session.Run("UPDATE staged SET place=@p3 WHERE type=@p0 AND id=@p1 AND version=@p2 AND place IS NULL", type, id, version, place) == 1;

    public (long Versions, long Deletions) Count() =>
        _session.Rows("SELECT count(*), coalesce(sum(deleted), 0) FROM staged", r => (r.GetInt64(0), r.GetInt64(1)))[0];

    public bool Has(string type, string id) => _session.One("SELECT 1 FROM staged WHERE type=@p0 AND id=@p1", type, id) is not null;

    public IEnumerable<string> WithoutPlace() => Addresses("SELECT type, id, version FROM staged WHERE place IS NULL ORDER BY type, id, version");

    /// <summary>Resources of which a version is missing, with how many are there and the highest number.</summary>
    public IEnumerable<(string Address, int Count, int Highest)> WithGaps() => _session.Each(
        "SELECT type, id, count(*), max(version) FROM staged GROUP BY type, id HAVING count(*)<>max(version) OR min(version)<>1 ORDER BY type, id",
        r => ($"{r.GetString(0)}/{r.GetString(1)}", r.GetInt32(2), r.GetInt32(3)));

    /// <summary>Versions that are older or placed earlier than the version before them.</summary>
    public IEnumerable<string> OutOfOrder() => Addresses(
        "SELECT b.type, b.id, b.version FROM staged a JOIN staged b ON b.type=a.type AND b.id=a.id AND b.version=a.version+1 WHERE b.updated<a.updated OR b.place<a.place ORDER BY b.type, b.id, b.version");

    /// <summary>References that lead to nothing that is staged, with a version that has them.</summary>
    public IEnumerable<(string Type, string Id, int? Version, string By)> Unresolved() => _session.Each(
        "SELECT c.type, c.id, c.version, c.by FROM cited c WHERE NOT EXISTS (SELECT 1 FROM staged s WHERE s.type=c.type AND s.id=c.id AND (c.version=0 OR s.version=c.version)) ORDER BY c.type, c.id, c.version",
        r => (r.GetString(0), r.GetString(1), r.GetInt32(2) is var v and > 0 ? v : (int?)null, r.GetString(3)));

    /// <summary>All versions in the order of their commits, as <see cref="RecordStore.RestoreAsync"/> takes them.</summary>
    public IEnumerable<RecordVersion> InOrder() => _session.Each(
        "SELECT coalesce(place, 0), type, id, version, deleted, updated, json, NULL FROM staged ORDER BY place", r => RecordReads.Version(r, 0));

    public void Dispose() => _session.Dispose();

    private IEnumerable<string> Addresses(string sql) => _session.Each(sql, r => $"{r.GetString(0)}/{r.GetString(1)}/_history/{r.GetInt32(2)}");
}
