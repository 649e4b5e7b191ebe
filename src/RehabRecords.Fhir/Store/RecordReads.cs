using System.Data.Common;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Search;

namespace RehabRecords.Fhir.Store;

/// <summary>The reads of the record, each on one session.</summary>
internal static class RecordReads
{
    public const string Columns = "v.seq, v.type, v.id, v.version, v.deleted, v.updated, v.json, v.digest";

    /// <summary>For one who compares with something else than the digest, and has to tell of what does not fit.</summary>
    public const string AsTheyAre = "v.seq, v.type, v.id, v.version, v.deleted, v.updated, v.json, NULL";

    /// <summary>So many are asked for at once.</summary>
    public const int Batch = 32;

    /// <summary>Places for a batch of values, from a number on.</summary>
    public static string Places(int first) => string.Join(", ", Enumerable.Range(first, Batch).Select(i => $"@p{i}"));

    public static RecordVersion? Current(Session session, string type, string id) =>
        session.Rows($"SELECT {Columns} FROM resource r JOIN version v ON v.seq=r.seq AND v.person=r.person WHERE r.type=@p0 AND r.id=@p1", r => Version(r, 0), type, id).FirstOrDefault();

    public static Dictionary<(string Type, string Id), bool> WhetherDeleted(Session session, IEnumerable<(string Type, string Id)> resources, PeopleLimit? limit)
    {
        var found = new Dictionary<(string Type, string Id), bool>();
        foreach (var type in resources.GroupBy(r => r.Type))
            foreach (var some in type.Chunk(Batch))
            {
                // As many places in each statement, so that it stays prepared.
                object[] values = [type.Key, .. Enumerable.Range(0, Batch).Select(i => i < some.Length ? some[i].Id : "")];
                var shown = limit is null ? "" : " AND " + limit.Condition("r");
                foreach (var (id, deleted) in session.Rows($"SELECT r.id, r.deleted FROM resource r WHERE r.type=@p0 AND r.id IN ({Places(1)}){shown}", r => (r.GetString(0), r.GetInt64(1) == 1), values))
                    found[(type.Key, id)] = deleted;
            }

        return found;
    }

    public static RecordVersion? At(Session session, string type, string id, int version) =>
        session.Rows($"SELECT {Columns} FROM version v WHERE v.type=@p0 AND v.id=@p1 AND v.version=@p2", r => Version(r, 0), type, id, version).FirstOrDefault();

    public static List<RecordVersion> History(Session session, string type, string id) =>
        session.Rows($"SELECT {Columns} FROM version v WHERE v.type=@p0 AND v.id=@p1 ORDER BY v.version DESC", r => Version(r, 0), type, id);

    /// <summary>Also of what is damaged.</summary>
    public static List<RecordVersion> HistoryAsItIs(Session session, string type, string id) =>
        session.Rows($"SELECT {AsTheyAre} FROM version v WHERE v.type=@p0 AND v.id=@p1 ORDER BY v.version DESC", r => Version(r, 0), type, id);

    public static DateTimeOffset? UpdatedAt(Session session, string type, string id, int version) =>
        session.One("SELECT updated FROM version WHERE type=@p0 AND id=@p1 AND version=@p2", type, id, version) is long updated ? DateRange.Time(updated) : null;

    public static string? Holder(Session session, string type, string system, string value, string? patient)
    {
        (system, value) = (LongText.Short(system), LongText.Short(value));
        var holders = patient is null || type != "RelatedPerson"
            ? session.Rows("SELECT id FROM claim WHERE type=@p0 AND system=@p1 AND value=@p2 ORDER BY id", r => r.GetString(0), type, system, value)
            : session.Rows("SELECT id FROM claim WHERE type=@p0 AND system=@p1 AND value=@p2 AND scope=@p3", r => r.GetString(0), type, system, value, Person.Number(patient));
        return holders.Count <= 1
            ? holders.FirstOrDefault()
            : throw new RefusedException(
                Refusal.Ambiguous,
                OperationOutcome.IssueType.MultipleMatches,
                $"The identifier {system}|{value} is held by {string.Join(" and ", holders.Select(h => $"{type}/{h}"))}, each for another person. Name the one that is meant by its id, or by &patient=Patient/<id> in the condition.",
                type);
    }

    /// <exception cref="RefusedException">Damaged: it is not what was stored.</exception>
    public static RecordVersion Version(DbDataReader row, int at)
    {
        var (updated, json) = (row.GetInt64(at + 5), row.GetFieldValue<byte[]>(at + 6));
        var version = new RecordVersion(
            row.GetInt64(at), row.GetString(at + 1), row.GetString(at + 2), row.GetInt32(at + 3), row.GetInt32(at + 4) == 1, DateRange.Time(updated), json);
        // One that an older program wrote has none yet. Looking costs about as much as copying the bytes once more.
        if (!row.IsDBNull(at + 7) && !row.GetFieldValue<byte[]>(at + 7).AsSpan().SequenceEqual(VersionDigest.Of(version.Type, version.Id, version.Version, version.Deleted, updated, json)))
            throw VersionDigest.Refused(version.VersionedAddress);
        return version;
    }
}
