using System.Buffers;
using System.Text.Json;
using Hl7.Fhir.Model;
using Hl7.Fhir.Serialization;

namespace RehabRecords.Fhir.Store;

/// <summary>The store's own bytes, made and read here only; what comes from outside is read by the guarded reader.</summary>
internal static class StoredJson
{
    public static byte[] Bytes(Resource resource)
    {
        var buffer = new ArrayBufferWriter<byte>(2048);
        using (var writer = new Utf8JsonWriter(buffer, new JsonWriterOptions { Encoder = System.Text.Encodings.Web.JavaScriptEncoder.UnsafeRelaxedJsonEscaping }))
            FhirJsonSerializer.Default.Serialize(resource, writer, null);
        return buffer.WrittenSpan.ToArray();
    }

    public static T Read<T>(ReadOnlyMemory<byte> json)
        where T : Resource
    {
        var reader = new Utf8JsonReader(json.Span);
        return FhirJsonDeserializer.OSTRICH.TryDeserializeResource(ref reader, out var resource, out var errors) || resource is not null
            ? (T)resource!
            : throw new InvalidDataException($"Stored bytes are not a resource: {errors.FirstOrDefault()?.Message}");
    }
}
