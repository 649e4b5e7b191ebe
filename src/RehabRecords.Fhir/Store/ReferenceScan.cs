using System.Text;

namespace RehabRecords.Fhir.Store;

/// <summary>A reference found in the bytes of a resource.</summary>
/// <param name="Text">As written: "Type/id", "Type/id/_history/3", or a canonical with or without its version.</param>
public readonly record struct FoundReference(string Text, bool IsCanonical)
{
    /// <summary>Type, id and version of a reference to this record; null for any other.</summary>
    public (string Type, string Id, int? Version)? Address => IsCanonical
        ? null
        : Text.Split('/') switch
        {
            [{ Length: > 0 } type, { Length: > 0 } id] when char.IsAsciiLetterUpper(type[0]) => (type, id, null),
            [{ Length: > 0 } type, { Length: > 0 } id, "_history", var version] when char.IsAsciiLetterUpper(type[0]) && int.TryParse(version, out var number) => (type, id, number),
            _ => null,
        };
}

/// <summary>
/// Finds references in stored bytes by looking for the members that hold them, many times as fast as reading the JSON. Right
/// for bytes as this program writes them, and only for these: without white space, so that a member's name, colon and value
/// touch; inside a text the same characters cannot stand, since its quotation marks are escaped.
/// </summary>
public static class ReferenceScan
{
    /// <param name="found">Called for each, in the order of the members' kinds.</param>
    public static void Read(ReadOnlySpan<byte> json, Action<FoundReference> found)
    {
        foreach (var text in Values(json, "\"reference\":\""u8, keep: 0))
            if (text[0] != '#')
                found(new FoundReference(text, IsCanonical: false));
        // The bytes of an attachment that are kept as a resource of their own.
        foreach (var text in Values(json, "\"url\":\"Binary/"u8, keep: "Binary/".Length))
            found(new FoundReference(text, IsCanonical: false));
        // instantiatesCanonical, definitionCanonical, valueCanonical: one, or a list of them.
        foreach (var text in Values(json, "Canonical\":\""u8, keep: 0))
            found(new FoundReference(text, IsCanonical: true));
        foreach (var text in Lists(json, "Canonical\":["u8))
            found(new FoundReference(text, IsCanonical: true));
    }

    private static List<string> Values(ReadOnlySpan<byte> json, ReadOnlySpan<byte> member, int keep)
    {
        List<string> values = [];
        for (var at = json.IndexOf(member); at >= 0; at = json.IndexOf(member))
        {
            json = json[(at + member.Length - keep)..];
            if (Text(json) is { Length: > 0 } text)
                values.Add(text);
            json = json[keep..];
        }

        return values;
    }

    private static List<string> Lists(ReadOnlySpan<byte> json, ReadOnlySpan<byte> member)
    {
        List<string> values = [];
        for (var at = json.IndexOf(member); at >= 0; at = json.IndexOf(member))
        {
            json = json[(at + member.Length)..];
            // A canonical has no bracket or quotation mark in it; the list ends at the first.
            var end = json.IndexOf((byte)']');
            var list = end < 0 ? json : json[..end];
            while (list.IndexOf((byte)'"') is var open and >= 0)
            {
                list = list[(open + 1)..];
                if (Text(list) is { Length: > 0 } text)
                    values.Add(text);
                list = list[Math.Max(0, list.IndexOf((byte)'"') + 1)..];
            }
        }

        return values;
    }

    /// <summary>Up to the quotation mark; an address of ours has nothing in it that is escaped, and what has is not ours.</summary>
    private static string? Text(ReadOnlySpan<byte> from)
    {
        var end = from.IndexOfAny((byte)'"', (byte)'\\');
        return end > 0 && from[end] == '"' ? Encoding.UTF8.GetString(from[..end]) : null;
    }
}
