using System.Text.Json;

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

/// <summary>Finds references in stored bytes without making a resource of them: some thirty times as fast.</summary>
public static class ReferenceScan
{
    /// <summary>Members that hold canonicals of things a record can hold; those of profiles and code systems are not in it.</summary>
    private static readonly string[] Canonicals = ["instantiatesCanonical", "definitionCanonical", "valueCanonical", "library", "questionnaire"];

    /// <exception cref="JsonException">The bytes are not JSON.</exception>
    public static void Read(ReadOnlySpan<byte> json, Action<FoundReference> found)
    {
        var reader = new Utf8JsonReader(json, new JsonReaderOptions { MaxDepth = 128 });
        var depthOfList = -1;
        while (reader.Read())
        {
            switch (reader.TokenType)
            {
                case JsonTokenType.PropertyName when reader.ValueTextEquals("reference"u8):
                    if (reader.Read() && reader.TokenType == JsonTokenType.String)
                        Report(reader.GetString()!, isCanonical: false);
                    break;
                // The bytes of an attachment that are kept as a resource of their own.
                case JsonTokenType.PropertyName when reader.ValueTextEquals("url"u8):
                    if (reader.Read() && reader.TokenType == JsonTokenType.String && reader.ValueSpan.StartsWith("Binary/"u8))
                        Report(reader.GetString()!, isCanonical: false);
                    break;
                case JsonTokenType.PropertyName when IsCanonical(ref reader):
                    if (!reader.Read())
                        break;
                    if (reader.TokenType == JsonTokenType.StartArray)
                        depthOfList = reader.CurrentDepth + 1;
                    else if (reader.TokenType == JsonTokenType.String)
                        Report(reader.GetString()!, isCanonical: true);
                    break;
                case JsonTokenType.String when reader.CurrentDepth == depthOfList:
                    Report(reader.GetString()!, isCanonical: true);
                    break;
                case JsonTokenType.EndArray when reader.CurrentDepth == depthOfList - 1:
                    depthOfList = -1;
                    break;
                default:
                    break;
            }
        }

        void Report(string text, bool isCanonical)
        {
            if (text.Length > 0 && text[0] != '#')
                found(new FoundReference(text, isCanonical));
        }
    }

    private static bool IsCanonical(ref Utf8JsonReader reader)
    {
        foreach (var name in Canonicals)
            if (reader.ValueTextEquals(name))
                return true;
        return false;
    }
}
