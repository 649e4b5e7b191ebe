using System.Buffers;
using System.Globalization;
using System.Security.Cryptography;
using System.Text;
using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Store;

/// <summary>
/// SHA-256 over what a version is and says, written beside it in its own transaction. It tells bytes that changed in the store (a disk
/// that forgets, a hand that slips) from those that were stored; who may write to the database can write a digest too.
/// </summary>
internal static class VersionDigest
{
    /// <param name="updated">In microseconds since 1970, as it is stored.</param>
    public static byte[] Of(string type, string id, long version, bool deleted, long updated, ReadOnlySpan<byte> json)
    {
        // Who it is and when it was written too, so that whole versions are not taken for one another.
        var head = string.Create(CultureInfo.InvariantCulture, $"{type}/{id}/{version}/{(deleted ? 1 : 0)}/{updated}\n");
        var bytes = ArrayPool<byte>.Shared.Rent(Encoding.UTF8.GetMaxByteCount(head.Length) + json.Length);
        var length = Encoding.UTF8.GetBytes(head, bytes);
        json.CopyTo(bytes.AsSpan(length));
        var digest = SHA256.HashData(bytes.AsSpan(0, length + json.Length));
        ArrayPool<byte>.Shared.Return(bytes);
        return digest;
    }

    public static RefusedException Refused(string address) => new(
        Refusal.Damaged,
        OperationOutcome.IssueType.Exception,
        $"{address} is not as it was stored: its bytes do not fit the digest that was written with them. It is not given out. Tell whoever runs the service: check-store names everything that is damaged, and a backup has it whole.");
}

/// <summary>Gives the versions of a store that an older program wrote their digests. In turns of a few, so that others read and write meanwhile, and goes on where it was when stopped.</summary>
internal static class MissingDigests
{
    private const int Turn = 500;

    public static async Task WriteAsync(CommitQueue writers, CancellationToken ct)
    {
        while (await writers.EnqueueAsync(s => Next(s), ct) > 0)
        {
        }
    }

    private static int Next(Session session)
    {
        // By an index of those that have none: where all have one there is nothing to read.
        var rows = session.Rows(
            $"SELECT v.seq, v.person, v.type, v.id, v.version, v.deleted, v.updated, v.json FROM {session.Engine!.InOrder("version", "v", "version_without_digest")} WHERE v.digest IS NULL ORDER BY v.seq LIMIT {Turn}",
            r => (Seq: r.GetInt64(0), Person: r.GetInt64(1), Digest: VersionDigest.Of(r.GetString(2), r.GetString(3), r.GetInt64(4), r.GetInt64(5) == 1, r.GetInt64(6), r.GetFieldValue<byte[]>(7))));
        foreach (var row in rows)
            session.Later("UPDATE version SET digest=@p0 WHERE seq=@p1 AND person=@p2", row.Digest, row.Seq, row.Person);
        session.Flush();
        return rows.Count;
    }
}
