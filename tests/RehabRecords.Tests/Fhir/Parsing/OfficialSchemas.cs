using System.IO.Compression;
using System.Xml;
using System.Xml.Schema;
using RehabRecords.Tests.Fhir.Definitions;

namespace RehabRecords.Tests.Fhir.Parsing;

/// <summary>The XML schemas of R4, out of the specification: they know nothing of the library that writes our XML.</summary>
internal static class OfficialSchemas
{
    private static readonly Lazy<XmlSchemaSet> Schemas = new(Load);

    public static List<string> Problems(byte[] xml)
    {
        var problems = new List<string>();
        var settings = new XmlReaderSettings { Schemas = Schemas.Value, ValidationType = ValidationType.Schema, DtdProcessing = DtdProcessing.Prohibit };
        settings.ValidationEventHandler += (_, e) =>
        {
            // The schema lists the codes of an extensible binding as if there were no others.
            if (!e.Message.Contains("ExpressionLanguage-list", StringComparison.Ordinal))
                problems.Add(e.Message);
        };
        using var reader = XmlReader.Create(new MemoryStream(xml), settings);
        while (reader.Read())
        {
            // Reading validates.
        }

        return problems;
    }

    private static XmlSchemaSet Load()
    {
        using var zip = ZipFile.OpenRead(SharedDefinitions.SpecificationZip);
        var set = new XmlSchemaSet { XmlResolver = null };
        foreach (var name in new[] { "xml.xsd", "fhir-xhtml.xsd", "fhir-single.xsd" })
        {
            if (zip.GetEntry(name) is not { } entry)
                continue;
            using var stream = entry.Open();
            using var reader = XmlReader.Create(stream, new XmlReaderSettings { DtdProcessing = DtdProcessing.Prohibit, XmlResolver = null });
            set.Add(XmlSchema.Read(reader, (_, e) => throw e.Exception)!);
        }

        set.Compile();
        return set;
    }
}
