using System.IO.Compression;
using System.Xml;
using Hl7.Fhir.Model;
using Hl7.Fhir.Serialization;

namespace RehabRecords.Fhir.Definitions;

/// <summary>Reads the definitions out of the specification zip, one resource at a time. Used at build time only.</summary>
internal static class SpecificationZip
{
    private static readonly string[] Files =
    [
        "profiles-types.xml", "profiles-resources.xml", "profiles-others.xml", "extension-definitions.xml",
        "valuesets.xml", "v3-codesystems.xml", "v2-tables.xml", "search-parameters.xml", "conceptmaps.xml", "namingsystem-registry.xml",
    ];

    public static IEnumerable<Resource> Read(string zipFile)
    {
        using var zip = ZipFile.OpenRead(zipFile);
        foreach (var name in Files)
        {
            var entry = zip.GetEntry(name) ?? throw new InvalidDataException($"{zipFile} has no {name}; it is not the R4 specification zip.");
            using var stream = entry.Open();
            using var reader = XmlReader.Create(stream, new XmlReaderSettings { DtdProcessing = DtdProcessing.Prohibit, XmlResolver = null });
            foreach (var resource in ReadBundle(reader, name))
                yield return resource;
        }
    }

    private static IEnumerable<Resource> ReadBundle(XmlReader reader, string name)
    {
        while (reader.ReadToFollowing("resource"))
        {
            while (reader.Read() && reader.NodeType != XmlNodeType.Element)
            {
                // White space between <resource> and the resource itself.
            }

            using var one = reader.ReadSubtree();
            one.Read();
            FhirXmlDeserializer.OSTRICH.TryDeserializeResource(one, out var resource, out _);
            yield return resource ?? throw new InvalidDataException($"A resource in {name} cannot be read.");
        }
    }
}
