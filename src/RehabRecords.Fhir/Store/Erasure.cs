using System.Security.Cryptography;
using System.Text;
using System.Text.RegularExpressions;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Search;

namespace RehabRecords.Fhir.Store;

/// <summary>An erasure as it was decided.</summary>
/// <param name="People">Ids of the Patients: one, and those that were merged into it.</param>
/// <param name="Digest">Of what was shown to whoever confirmed it; null where it is done once more after a restore.</param>
public sealed record ErasureOrder(IReadOnlyList<string> People, string TombstoneId, DateTimeOffset At, string By, string Basis, string? Digest, string? RecordDigest)
{
    /// <summary>Whether an AuditEvent that names nothing of the record tells of the person all the same, such as by the words of a search.</summary>
    public required Func<RecordVersion, bool> Mentions { get; init; }

    /// <summary>The event without what tells of the person; the second value says whether an address was erased.</summary>
    public required Func<RecordVersion, Func<string, bool>, AuditEvent> Redact { get; init; }

    /// <summary>The AuditEvent that tells of the erasure, with the digests of the tombstone in it.</summary>
    public required Func<Tombstone, AuditEvent> Attest { get; init; }

    /// <summary>The key of the store in which it was erased before, where that is known.</summary>
    public string? Key { get; init; }

    /// <summary>Hashes of the Patients where they are not in this store, or not any more.</summary>
    public IReadOnlyList<string>? Marks { get; init; }
}

/// <summary>
/// Takes a person's record out of a store, in one transaction: every version of everything that is theirs, with index rows, identifiers and
/// kept answers. Events of the audit trail stay without what tells of the person. What is left is a tombstone.
/// </summary>
internal static partial class Erasure
{
    public static Tombstone Apply(Session session, Dialect dialect, SearchIndexer indexer, ErasureOrder order)
    {
        // Every event has its link before it is touched.
        while (AuditChain.Extend(session) > 0)
        {
        }

        var set = ErasureSet.Gather(session, dialect, indexer.Parameters, order.People);
        var plan = set.Plan(session);
        if (order.Digest is not null && plan.Digest != order.Digest)
            throw new RefusedException(Refusal.Conflict, OperationOutcome.IssueType.Conflict,
                $"The record changed since it was shown: its digest is {plan.Digest} now. Look at it again, and confirm what it is then.", "digest");
        var key = Tombstones.KeyOrNew(session, order.Key);
        var events = set.Events.Concat(Mentioning(session, order)).Distinct(StringComparer.Ordinal).Order(StringComparer.Ordinal).ToList();
        foreach (var (type, id) in set.Whole)
            Take(session, type, id, whole: true, order.People);
        foreach (var (type, id) in set.Shared)
            Take(session, type, id, whole: false, order.People);
        Forget(session, [.. set.Whole.Concat(set.Shared).Select(a => a.Id)]);
        foreach (var (type, id) in set.Whole.Concat(set.Shared))
            session.Later("INSERT INTO erased (mark, tombstone) VALUES (@p0, @p1) ON CONFLICT DO NOTHING", Tombstones.Mark(key, $"{type}/{id}"), order.TombstoneId);
        session.Flush();
        foreach (var id in events)
            Redact(session, indexer, order, id, address => ReferenceTypes.Split(address) is { } to && set.Takes(to.Type, to.Id));
        var tombstone = new Tombstone(
            order.TombstoneId, order.At, order.By, order.Basis, plan.Resources, plan.Versions, events.Count, order.Digest ?? plan.Digest, order.RecordDigest,
            AuditGaps.Digest(session, order.TombstoneId), NewId.Next(), order.Marks ?? [.. order.People.Select(p => Tombstones.Mark(key, $"Patient/{p}"))]);
        Tombstones.Keep(session, tombstone);
        Attest(session, indexer, order, tombstone);
        return tombstone;
    }

    private static void Take(Session session, string type, string id, bool whole, IReadOnlyList<string> people)
    {
        var current = session.Rows("SELECT num, person FROM resource WHERE type=@p0 AND id=@p1", r => (Num: r.GetInt64(0), Person: r.GetInt64(1)), type, id);
        var theirs = people.Select(Person.Number).ToList();
        if (whole)
            session.Run("DELETE FROM version WHERE type=@p0 AND id=@p1", type, id);
        else
            foreach (var person in theirs)
                session.Run("DELETE FROM version WHERE type=@p0 AND id=@p1 AND person=@p2", type, id, person);
        // Where the current version is somebody else's, it is found as before.
        if (current is not [var row] || (!whole && !theirs.Contains(row.Person)))
            return;
        SetWriter.DropRows(session, row.Num, row.Person);
        session.Later("DELETE FROM claim WHERE type=@p0 AND id=@p1", type, id);
        session.Later("DELETE FROM resource WHERE type=@p0 AND id=@p1", type, id);
    }

    /// <summary>Answers kept for repeated posts are bodies about the person, and are known by the ids in them.</summary>
    private static void Forget(Session session, HashSet<string> ids)
    {
        List<(string Client, string Key)> theirs = [];
        foreach (var (client, key, location, body) in session.Each("SELECT client, key, location, body FROM answer", r => (r.GetString(0), r.GetString(1), r.GetString(2), Answers.Unpacked(r.GetFieldValue<byte[]>(3)))))
            if (IdText().Matches(location + " " + Encoding.UTF8.GetString(body)).Any(m => ids.Contains(m.Value.TrimEnd('.'))))
                theirs.Add((client, key));
        foreach (var (client, key) in theirs)
            session.Later("DELETE FROM answer WHERE client=@p0 AND key=@p1", client, key);
    }

    private static List<string> Mentioning(Session session, ErasureOrder order)
    {
        List<string> found = [];
        foreach (var one in session.Each($"SELECT {RecordReads.AsTheyAre} FROM version v WHERE v.type='AuditEvent'", r => RecordReads.Version(r, 0)))
            if (order.Mentions(one))
                found.Add(one.Id);
        return found;
    }

    private static void Redact(Session session, SearchIndexer indexer, ErasureOrder order, string id, Func<string, bool> isErased)
    {
        if (RecordReads.Current(session, "AuditEvent", id) is not { } before
            || session.Rows("SELECT num, person FROM resource WHERE type='AuditEvent' AND id=@p0", r => (Num: r.GetInt64(0), Person: r.GetInt64(1)), id) is not [var row])
            return;
        var after = order.Redact(before, isErased);
        var (json, rows) = (ResourceWriter.Json(after), indexer.Index(after));
        var person = Person.Number(rows.Person);
        SetWriter.DropRows(session, row.Num, row.Person);
        var digest = VersionDigest.Of("AuditEvent", id, before.Version, deleted: false, DateRange.Microseconds(before.LastUpdated), json);
        session.Run("UPDATE version SET json=@p0, digest=@p1, person=@p2 WHERE type='AuditEvent' AND id=@p3 AND version=@p4", json, digest, person, id, before.Version);
        session.Run("UPDATE resource SET person=@p0 WHERE num=@p1", person, row.Num);
        SetWriter.PutRows(session, row.Num, person, rows);
        session.Run(
            "INSERT INTO audit_gap (n, tombstone, remaining) SELECT n, @p0, @p1 FROM audit_link WHERE id=@p2 AND version=@p3",
            order.TombstoneId, AuditGaps.Remaining(json), id, before.Version);
    }

    private static void Attest(Session session, SearchIndexer indexer, ErasureOrder order, Tombstone tombstone)
    {
        var audit = order.Attest(tombstone);
        audit.Id = tombstone.Attested;
        // A copy of the record that names a time must not have missed it.
        var horizon = StoreFacts.Read(session).Horizon;
        var now = Millisecond.Of(tombstone.At);
        if (DateRange.Microseconds(now) <= horizon)
            now = Millisecond.Of(DateRange.Time(horizon)).AddMilliseconds(1);
        audit.Meta = new Meta { VersionId = "1", LastUpdated = now };
        SetWriter.Put(session, new PreparedWrite(new Write("AuditEvent", audit.Id, audit, 0), now, ResourceWriter.Json(audit), indexer.Index(audit)));
        AuditChain.Extend(session);
    }

    [GeneratedRegex(@"[A-Za-z0-9\-.]{1,64}")]
    private static partial Regex IdText();
}

/// <summary>Links of the audit trail whose events were made poorer by an erasure: each is marked, and what is left is sealed.</summary>
internal static class AuditGaps
{
    public static string Remaining(ReadOnlySpan<byte> json) => Convert.ToHexStringLower(SHA256.HashData(json));

    public static string Digest(Session session, string tombstone)
    {
        using var sha = IncrementalHash.CreateHash(HashAlgorithmName.SHA256);
        foreach (var (n, remaining) in session.Rows("SELECT n, remaining FROM audit_gap WHERE tombstone=@p0 ORDER BY n", r => (r.GetInt64(0), r.GetString(1)), tombstone))
            sha.AppendData(Encoding.UTF8.GetBytes($"{n}:{remaining}\n"));
        return Convert.ToHexStringLower(sha.GetHashAndReset());
    }

    /// <summary>What is left of each, by the number of its link; of an event that was made poorer twice the later.</summary>
    public static Dictionary<long, string> Read(Session session)
    {
        var gaps = new Dictionary<long, string>();
        foreach (var (n, remaining) in session.Rows("SELECT g.n, g.remaining FROM audit_gap g JOIN tombstone t ON t.id=g.tombstone ORDER BY t.made, t.id", r => (r.GetInt64(0), r.GetString(1))))
            gaps[n] = remaining;
        return gaps;
    }

    /// <summary>A gap is believed when an event of the trail, whose own link fits, tells of the erasure and of what was left.</summary>
    public static IEnumerable<string> Problems(Session session, IReadOnlyDictionary<long, string> gaps)
    {
        foreach (var tombstone in Tombstones.All(session))
        {
            var digest = Digest(session, tombstone.Id);
            if (digest != tombstone.AuditDigest)
                yield return $"Tombstone {tombstone.Id}: what is marked as left of {tombstone.AuditEvents} events is not what was left.";
            if (RecordReads.HistoryAsItIs(session, "AuditEvent", tombstone.Attested) is not [var told] || told.Json.Span.IndexOf(Encoding.UTF8.GetBytes(digest)) < 0 || told.Json.Span.IndexOf(Encoding.UTF8.GetBytes(tombstone.Id)) < 0
                || session.One("SELECT n FROM audit_link WHERE id=@p0 AND version=1", tombstone.Attested) is not long link || gaps.ContainsKey(link))
                yield return $"Tombstone {tombstone.Id}: AuditEvent/{tombstone.Attested}, which should tell of the erasure, is not in the trail or tells of another.";
        }

        if (session.One("SELECT COUNT(*) FROM audit_gap g WHERE NOT EXISTS (SELECT 1 FROM tombstone t WHERE t.id=g.tombstone)") is long and > 0)
            yield return "Events are marked as made poorer by an erasure of which there is no tombstone.";
    }
}
