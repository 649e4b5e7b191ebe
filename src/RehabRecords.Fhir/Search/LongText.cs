using System.Security.Cryptography;
using System.Text;

namespace RehabRecords.Fhir.Search;

/// <summary>
/// Codes, addresses and identifiers as they stand in an index, where an entry must fit into part of a page. What is longer keeps
/// its beginning and is told from others by a digest of the whole, on both sides of a comparison, so it is found as any other.
/// </summary>
internal static class LongText
{
    /// <summary>Bytes of UTF-8 that an entry may have; three such fit into the least that an engine allows.</summary>
    private const int Most = 800;

    private const int Kept = 160;

    public static string Short(string text)
    {
        if (text.Length * 3 <= Most || Encoding.UTF8.GetByteCount(text) <= Most)
            return text;
        var kept = char.IsHighSurrogate(text[Kept - 1]) ? Kept - 1 : Kept;
        return $"{text[..kept]}…{Convert.ToHexStringLower(SHA256.HashData(Encoding.UTF8.GetBytes(text)))}";
    }
}
