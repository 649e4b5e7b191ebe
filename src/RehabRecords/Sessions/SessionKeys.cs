using System.Security.Cryptography;
using System.Text;
using RehabRecords.Fhir.Store;
using RehabRecords.Trade;

namespace RehabRecords.Sessions;

/// <summary>By what a session posted again is recognised.</summary>
internal static class SessionKeys
{
    public const string OfIdentifier = "session-identifier";
    public const string OfBody = "session-body";

    /// <summary>
    /// The header, the sender's own identifier, and, with neither, the body of a done session: the same words about the
    /// same moment are a repeat. Two missed sessions of one day may read alike and yet be two.
    /// </summary>
    public static IReadOnlyList<IdempotencyKey> Of(Posted<SessionRequest> posted)
    {
        var keys = new List<IdempotencyKey>();
        if (posted.Key is { } header)
            keys.Add(header);
        if (posted.Body.Identifier is { } identifier)
            keys.Add(new IdempotencyKey(OfIdentifier, Convert.ToHexStringLower(SHA256.HashData(Encoding.UTF8.GetBytes($"{identifier.System}|{identifier.Value}"))), posted.Hash));
        if (keys.Count == 0 && posted.Body.DoneAt is not null)
            keys.Add(new IdempotencyKey(OfBody, posted.Hash, posted.Hash));
        return keys;
    }
}
