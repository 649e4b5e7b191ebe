using CsCheck;
using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Tests.Fhir.Definitions;

namespace RehabRecords.Tests.Fhir.Parsing;

/// <summary>A body damaged anywhere is refused, or read as what it then says; nothing else ever comes out.</summary>
public class BodyMutationTests
{
    private static readonly byte[][] Json = SharedDefinitions.Examples.Select(File.ReadAllBytes).Where(b => b.Length < 8000).ToArray();
    private static readonly byte[][] Xml = Json.Select(j => ResourceWriter.Xml(ResourceReader.Read(j, FhirFormat.Json))).ToArray();

    [Theory]
    [InlineData(FhirFormat.Json)]
    [InlineData(FhirFormat.Xml)]
    public void Is_refused_or_read(FhirFormat format)
    {
        var bodies = format == FhirFormat.Json ? Json : Xml;
        var damage =
            from body in Gen.Int[0, bodies.Length - 1].Select(i => bodies[i])
            from at in Gen.Int[0, body.Length - 1]
            from kind in Gen.Int[0, 3]
            from value in Gen.Byte
            select kind switch
            {
                0 => body[..at],
                1 => [.. body[..at], value, .. body[at..]],
                2 => [.. body[..at], .. body[(at + 1)..]],
                _ => (byte[])[.. body[..at], value, .. body[(at + 1)..]],
            };
        damage.Sample(
            body =>
            {
                try
                {
                    var read = ResourceReader.Read(body, format);
                    // What was accepted can be written and read again in both formats.
                    ResourceReader.Read(ResourceWriter.Json(read), FhirFormat.Json);
                    ResourceReader.Read(ResourceWriter.Xml(read), FhirFormat.Xml);
                    return read is Resource;
                }
                catch (RefusedException refused)
                {
                    return refused.Issues.Count > 0;
                }
            },
            iter: 1500);
    }
}
