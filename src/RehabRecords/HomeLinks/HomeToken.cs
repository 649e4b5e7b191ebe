using System.Buffers.Text;
using System.Security.Cryptography;
using System.Text;

namespace RehabRecords.HomeLinks;

/// <summary>The secret part of a link. It is told once; the record holds its SHA-256 only, so that nobody who reads the record can use it.</summary>
internal static class HomeToken
{
    private const int Bytes = 24;

    /// <summary>
    /// 192 random bits, as 32 characters that need no escaping in an address. Before them stands the organisation, which is
    /// no secret, so that the link is looked for in one store.
    /// </summary>
    public static string New(string organisation) =>
        (organisation.Length == 0 ? "" : organisation + ".") + Base64Url.EncodeToString(RandomNumberGenerator.GetBytes(Bytes));

    /// <summary>
    /// By this a link is found. Whatever is asked for takes the same way: one hash, one look-up of it. How long that
    /// takes says nothing of the token, since nobody can choose the first characters of a hash.
    /// </summary>
    public static string Hash(string token) => Convert.ToHexStringLower(SHA256.HashData(Encoding.UTF8.GetBytes(token)));
}
