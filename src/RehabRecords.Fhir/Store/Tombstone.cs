using System.Security.Cryptography;
using System.Text;
using System.Text.Json;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Search;

namespace RehabRecords.Fhir.Store;

/// <summary>What is kept of an erasure: nothing about the person.</summary>
/// <param name="Id">A random one.</param>
/// <param name="By">Who erased it.</param>
/// <param name="Basis">On which ground, as a code.</param>
/// <param name="Resources">How many resources were erased.</param>
/// <param name="AuditEvents">From how many events of the audit trail what told of the person was taken.</param>
/// <param name="Digest">SHA-256 over all that was erased, as it was shown before.</param>
/// <param name="RecordDigest">Digest of the manifest of an export that was handed out before; null when none was named.</param>
/// <param name="AuditDigest">SHA-256 over what is left of those events.</param>
/// <param name="Attested">Id of the AuditEvent that tells of the erasure.</param>
/// <param name="People">Keyed hashes of the addresses of the Patients, by which a restored backup is gone through.</param>
public sealed record Tombstone(
    string Id, DateTimeOffset At, string By, string Basis, long Resources, long Versions, long AuditEvents, string Digest, string? RecordDigest, string AuditDigest, string Attested, IReadOnlyList<string> People)
{
    /// <summary>What is answered to a read of something that was erased.</summary>
    public static RefusedException Gone(string address, DateTimeOffset at) => new(
        Refusal.Gone, OperationOutcome.IssueType.Deleted, $"{address} was erased on {at.UtcDateTime:yyyy-MM-dd}, with the record it belonged to. Nothing of it is kept but that it was.");
}

/// <summary>Tombstones of a store, and the marks of what was erased.</summary>
internal static class Tombstones
{
    public const string KeyName = "erasure-key";

    private static readonly JsonSerializerOptions Json = new(JsonSerializerDefaults.Web);

    /// <summary>The store's own key, by which addresses are hashed; an address that says who somebody is can be tried out by whoever holds it.</summary>
    public static string? Key(Session session) => StoreFacts.Of(session, KeyName);

    public static string KeyOrNew(Session session, string? ifNone)
    {
        if (Key(session) is { } known)
            return known;
        var key = ifNone ?? Convert.ToHexStringLower(RandomNumberGenerator.GetBytes(32));
        StoreFacts.Keep(session, KeyName, key);
        return key;
    }

    public static string Mark(string key, string address) => Convert.ToHexStringLower(HMACSHA256.HashData(Convert.FromHexString(key), Encoding.UTF8.GetBytes(address)));

    public static IReadOnlyList<Tombstone> All(Session session) => session.Rows("SELECT body FROM tombstone ORDER BY made, id", r => JsonSerializer.Deserialize<Tombstone>(r.GetFieldValue<byte[]>(0), Json)!);

    public static void Keep(Session session, Tombstone tombstone) => session.Run(
        "INSERT INTO tombstone (id, made, body) VALUES (@p0, @p1, @p2)", tombstone.Id, DateRange.Microseconds(tombstone.At), JsonSerializer.SerializeToUtf8Bytes(tombstone, Json));

    public static DateTimeOffset? ErasedAt(Session session, string address) => Key(session) is { } key
        && session.One("SELECT t.made FROM erased e JOIN tombstone t ON t.id=e.tombstone WHERE e.mark=@p0", Mark(key, address)) is long made ? DateRange.Time(made) : null;
}
