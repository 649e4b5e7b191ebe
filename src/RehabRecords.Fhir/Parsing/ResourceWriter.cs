using System.Buffers;
using System.Text;
using System.Text.Encodings.Web;
using System.Text.Json;
using System.Xml;
using Hl7.Fhir.Model;
using Hl7.Fhir.Serialization;

namespace RehabRecords.Fhir.Parsing;

/// <summary>Writes resources as bytes, always in the same form for the same content.</summary>
public static class ResourceWriter
{
    // The bytes are never put into a page unescaped, so text stays readable: no \u0027 for an apostrophe.
    private static readonly JsonWriterOptions Compact = new() { Encoder = JavaScriptEncoder.UnsafeRelaxedJsonEscaping, SkipValidation = true };
    private static readonly JsonWriterOptions Pretty = Compact with { Indented = true, NewLine = "\n" };
    private static readonly UTF8Encoding Utf8 = new(encoderShouldEmitUTF8Identifier: false);

    public static byte[] Json(Base resource, bool pretty = false)
    {
        var buffer = new ArrayBufferWriter<byte>(2048);
        using (var writer = new Utf8JsonWriter(buffer, pretty ? Pretty : Compact))
            FhirJsonSerializer.Default.Serialize(resource, writer);
        return buffer.WrittenSpan.ToArray();
    }

    public static byte[] Xml(Resource resource, bool pretty = false)
    {
        using var stream = new MemoryStream();
        using (var writer = XmlWriter.Create(stream, new XmlWriterSettings { Encoding = Utf8, Indent = pretty, NewLineChars = "\n" }))
            FhirXmlSerializer.Default.Serialize(resource, writer);
        return stream.ToArray();
    }
}
