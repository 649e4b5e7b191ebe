using System.Text.Json;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Store;

namespace RehabRecords.RecordExport;

/// <summary>The documents among the resources of a record.</summary>
internal static class Documents
{
    public static string PathOf(RecordVersion version, string ending) =>
        $"{RecordZip.DocumentFolder}{version.Type}-{version.Id.Replace('.', '_')}-version-{version.Version}{ending}";

    /// <summary>The Composition at the head of a document Bundle; null for any other Bundle. Only that much of it is read.</summary>
    public static Composition? CompositionOf(ReadOnlyMemory<byte> bundle)
    {
        var reader = new Utf8JsonReader(bundle.Span);
        var isDocument = false;
        while (reader.Read())
        {
            if (reader.TokenType != JsonTokenType.PropertyName || reader.CurrentDepth != 1)
                continue;
            if (reader.ValueTextEquals("type"u8))
                isDocument = reader.Read() && reader.ValueTextEquals("document"u8);
            else if (!reader.ValueTextEquals("entry"u8))
                reader.Skip();
            else
                return isDocument ? FirstResource(ref reader, bundle) : null;
        }

        return null;
    }

    private static Composition? FirstResource(ref Utf8JsonReader reader, ReadOnlyMemory<byte> bundle)
    {
        while (reader.Read())
        {
            if (reader is not { TokenType: JsonTokenType.PropertyName, CurrentDepth: 3 } || !reader.ValueTextEquals("resource"u8))
                continue;
            reader.Read();
            var start = (int)reader.TokenStartIndex;
            reader.Skip();
            return ResourceReader.Trusted<Resource>(bundle[start..(int)reader.BytesConsumed]) as Composition;
        }

        return null;
    }
}
