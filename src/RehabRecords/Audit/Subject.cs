using System.Text;
using System.Text.Json;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Audit;

/// <summary>Whom a stored resource is about, from its bytes and without building it.</summary>
internal static class Subject
{
    private static readonly byte[][] Names = [.. new[] { "subject", "patient", "for", "beneficiary", "individual" }.Select(Encoding.UTF8.GetBytes)];

    public static string? Of(RecordVersion version)
    {
        if (version.Type == "Patient")
            return version.Id;
        if (version.Json.IsEmpty)
            return null;
        var reader = new Utf8JsonReader(version.Json.Span);
        while (reader.Read())
        {
            if (reader.TokenType != JsonTokenType.PropertyName || reader.CurrentDepth != 1)
                continue;
            var named = false;
            foreach (var name in Names)
                named |= reader.ValueTextEquals(name);
            reader.Read();
            if (named && reader.TokenType == JsonTokenType.StartObject && Reference(ref reader) is { } id)
                return id;
            reader.TrySkip();
        }

        return null;
    }

    // Leaves the reader at the end of the object.
    private static string? Reference(ref Utf8JsonReader reader)
    {
        var depth = reader.CurrentDepth;
        string? found = null;
        while (reader.Read() && reader.CurrentDepth > depth)
        {
            if (reader.TokenType == JsonTokenType.PropertyName && reader.CurrentDepth == depth + 1 && reader.ValueTextEquals("reference"u8) && reader.Read()
                && reader.TokenType == JsonTokenType.String && reader.GetString() is { } text && text.StartsWith("Patient/", StringComparison.Ordinal))
                found = text["Patient/".Length..].Split('/')[0];
        }

        return found;
    }
}
