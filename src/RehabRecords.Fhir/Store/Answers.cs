using System.IO.Compression;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Search;

namespace RehabRecords.Fhir.Store;

/// <summary>
/// Answers kept under idempotency keys. They are packed: the answer to a session holds the whole draft, which grows with the programme, and
/// took as much room in the store as the draft itself.
/// </summary>
internal static class Answers
{
    /// <summary>Bytes from which packing is worth its work.</summary>
    private const int WorthPacking = 1024;

    public static StoredAnswer? Find(Session session, IdempotencyKey key)
    {
        var found = session.Rows(
            "SELECT hash, status, location, body FROM answer WHERE client=@p0 AND key=@p1",
            r => (Hash: r.GetString(0), Answer: new StoredAnswer(r.GetInt32(1), r.GetString(2), Unpacked(r.GetFieldValue<byte[]>(3)))),
            key.Client,
            key.Key);
        return found switch
        {
            [] => null,
            [var one, ..] when one.Hash == key.BodyHash => one.Answer,
            _ => throw new RefusedException(
                Refusal.KeyReused,
                OperationOutcome.IssueType.BusinessRule,
                $"The idempotency key '{key.Key}' was used before with another body. Send the same body to get the first answer again, or use a new key."),
        };
    }

    public static void Keep(Session session, IdempotencyKey key, StoredAnswer answer, DateTimeOffset made) =>
        session.Later(
            "INSERT INTO answer (client, key, hash, status, location, body, made) VALUES (@p0, @p1, @p2, @p3, @p4, @p5, @p6)",
            key.Client, key.Key, key.BodyHash, answer.Status, answer.Location, Packed(answer.Body), DateRange.Microseconds(made));

    /// <summary>A body as it was answered, from the column of the table.</summary>
    // One that an older program wrote is as it was answered: text, which never begins like this.
    public static byte[] Unpacked(byte[] kept)
    {
        if (kept is not [0x1f, 0x8b, ..])
            return kept;
        using var packed = new GZipStream(new MemoryStream(kept), CompressionMode.Decompress);
        using var body = new MemoryStream();
        packed.CopyTo(body);
        return body.ToArray();
    }

    private static byte[] Packed(ReadOnlyMemory<byte> body)
    {
        if (body.Length < WorthPacking)
            return body.ToArray();
        using var kept = new MemoryStream();
        using (var packed = new GZipStream(kept, CompressionLevel.Fastest))
            packed.Write(body.Span);
        return kept.ToArray();
    }
}
