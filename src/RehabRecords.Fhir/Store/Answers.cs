using Hl7.Fhir.Model;
using RehabRecords.Fhir.Search;

namespace RehabRecords.Fhir.Store;

/// <summary>Answers kept under idempotency keys.</summary>
internal static class Answers
{
    public static StoredAnswer? Find(Session session, IdempotencyKey key)
    {
        var found = session.Rows(
            "SELECT hash, status, location, body FROM answer WHERE client=@p0 AND key=@p1",
            r => (Hash: r.GetString(0), Answer: new StoredAnswer(r.GetInt32(1), r.GetString(2), r.GetFieldValue<byte[]>(3))),
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
            key.Client, key.Key, key.BodyHash, answer.Status, answer.Location, answer.Body.ToArray(), DateRange.Microseconds(made));
}
