using System.Security.Cryptography;
using System.Text;

namespace RehabRecords.Fhir.Store;

/// <summary>A link of the chain; the head is the last one.</summary>
public sealed record AuditLink(long Number, string Hash)
{
    /// <summary>What the first link is made from.</summary>
    public static AuditLink None { get; } = new(0, new string('0', 64));
}

/// <summary>What a look at the whole audit trail came to.</summary>
/// <param name="Problems">Each names the event or link, and what is wrong; the first few hundred.</param>
/// <param name="Waiting">Events written so lately that they have no link yet.</param>
/// <param name="Gaps">Events of which an erasure left a part: marked, and as they were left.</param>
public sealed record AuditVerdict(AuditLink Head, int Waiting, int Gaps, IReadOnlyList<string> Problems)
{
    public bool IsWhole => Problems.Count == 0;
}

/// <summary>Links AuditEvents in the order of commits, and finds out whether any was removed, changed, added or reordered since.</summary>
internal static class AuditChain
{
    private const int Turn = 500;
    private const int MostProblems = 200;

    /// <summary>Commits may become visible a little out of the order of their numbers, so a stretch before the head is looked at again.</summary>
    private const long Overlap = 10_000;

    public static AuditLink Head(Session session) =>
        session.Rows("SELECT n, hash FROM audit_link ORDER BY n DESC LIMIT 1", r => new AuditLink(r.GetInt64(0), r.GetString(1))).FirstOrDefault() ?? AuditLink.None;

    /// <summary>Links some of what has no link yet; the number of them.</summary>
    public static int Extend(Session session)
    {
        var head = Head(session);
        var from = session.One("SELECT MAX(seq) FROM audit_link") is long last ? Math.Max(0, last - Overlap) : 0;
        var events = session.Rows(
            $"SELECT {RecordReads.AsTheyAre} FROM version v WHERE v.type='AuditEvent' AND v.seq>@p0 AND NOT EXISTS (SELECT 1 FROM audit_link l WHERE l.id=v.id AND l.version=v.version) ORDER BY v.seq LIMIT {Turn}",
            r => RecordReads.Version(r, 0),
            from);
        foreach (var one in events)
        {
            head = new AuditLink(head.Number + 1, Hash(head, one));
            session.Run("INSERT INTO audit_link (n, seq, id, version, hash) VALUES (@p0, @p1, @p2, @p3, @p4)", head.Number, one.Sequence, one.Id, one.Version, head.Hash);
        }

        return events.Count;
    }

    /// <param name="anchors">Links that were noted elsewhere at the time.</param>
    public static AuditVerdict Verify(Session session, IReadOnlyCollection<AuditLink> anchors)
    {
        var problems = new List<string>();
        void Tell(string problem)
        {
            if (problems.Count < MostProblems)
                problems.Add(problem);
        }

        var gaps = AuditGaps.Read(session);
        var noted = anchors.ToLookup(a => a.Number, a => a.Hash);
        var head = AuditLink.None;
        // Links and what they name side by side, in one pass over both.
        foreach (var (number, id, hash, named) in session.Each(
            $"SELECT l.n, l.id, l.hash, {RecordReads.AsTheyAre} FROM audit_link l LEFT JOIN version v ON v.type='AuditEvent' AND v.id=l.id AND v.version=l.version ORDER BY l.n",
            r => (r.GetInt64(0), r.GetString(1), r.GetString(2), r.IsDBNull(3) ? null : RecordReads.Version(r, 3))))
        {
            if (number == head.Number)
            {
                Tell($"AuditEvent/{id} is there twice, and link {number} names one.");
                continue;
            }

            if (number != head.Number + 1)
                Tell($"Links {head.Number + 1} to {number - 1} of the chain are missing.");
            if (named is not { } one)
                Tell($"AuditEvent/{id} was removed: link {number} names it and it is not there.");
            else if (gaps.TryGetValue(number, out var remaining))
            {
                if (AuditGaps.Remaining(one.Json.Span) != remaining)
                    Tell($"AuditEvent/{id}, of which an erasure left a part, was changed since.");
            }
            else if (Hash(head, one) != hash)
                Tell($"AuditEvent/{id}, or link {number} or the one before it, was changed: the hash does not fit.");
            foreach (var anchor in noted[number].Where(a => a != hash))
                Tell($"Link {number} is not the one that was noted ({anchor[..12]}…): the chain was made anew.");
            head = new AuditLink(number, hash);
        }

        foreach (var lost in anchors.Where(a => a.Number > head.Number))
            Tell($"The chain ends at link {head.Number}, and link {lost.Number} was noted once: its end was cut off.");
        foreach (var (id, version) in session.Rows("SELECT id, version FROM version WHERE type='AuditEvent' AND (version>1 OR deleted=1)", r => (r.GetString(0), (int)r.GetInt64(1))))
            Tell($"AuditEvent/{id} has version {version}: an event is written once and never again.");
        foreach (var problem in AuditGaps.Problems(session, gaps))
            Tell(problem);
        var waiting = (long)session.One("SELECT COUNT(*) FROM version v WHERE v.type='AuditEvent' AND NOT EXISTS (SELECT 1 FROM audit_link l WHERE l.id=v.id AND l.version=v.version)")!;
        return new AuditVerdict(head, (int)waiting, gaps.Count, problems);
    }

    private static string Hash(AuditLink before, RecordVersion one)
    {
        using var sha = IncrementalHash.CreateHash(HashAlgorithmName.SHA256);
        sha.AppendData(Encoding.UTF8.GetBytes($"{before.Number + 1}\n{before.Hash}\n{one.Id}\n{one.Version}\n{one.LastUpdated.UtcDateTime:O}\n"));
        sha.AppendData(one.Json.Span);
        return Convert.ToHexStringLower(sha.GetHashAndReset());
    }
}
