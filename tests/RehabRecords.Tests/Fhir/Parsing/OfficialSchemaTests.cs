using System.IO.Compression;
using System.Xml;
using System.Xml.Schema;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Tests.Fhir.Definitions;

namespace RehabRecords.Tests.Fhir.Parsing;

/// <summary>The XML we write, checked by the official R4 schemas, which know nothing of the library that wrote it.</summary>
public class OfficialSchemaTests
{
    private static readonly Lazy<XmlSchemaSet> Schemas = new(Load);

    [Fact]
    public void Every_example_written_as_xml_is_valid()
    {
        var seen = 0;
        foreach (var file in SharedDefinitions.Examples)
        {
            // The schema lists the codes of an extensible binding as if there were no others.
            var problems = Problems(ResourceWriter.Xml(ResourceReader.Read(File.ReadAllBytes(file), FhirFormat.Json)))
                .Where(p => !p.Contains("ExpressionLanguage-list", StringComparison.Ordinal)).ToList();
            Assert.True(problems.Count == 0, $"{Path.GetFileName(file)}: {string.Join("; ", problems)}");
            seen++;
        }

        Assert.True(seen > 0, "examples/ holds no example");
    }

    [Theory]
    [InlineData("<Patient xmlns=\"http://hl7.org/fhir\"><gender value=\"unheard-of\"/></Patient>")]
    [InlineData("<Patient xmlns=\"http://hl7.org/fhir\"><birthDate value=\"2000-01-01\"/><active value=\"true\"/></Patient>")]
    public void The_schemas_see_a_fault(string xml) => Assert.NotEmpty(Problems(System.Text.Encoding.UTF8.GetBytes(xml)));

    private static List<string> Problems(byte[] xml)
    {
        var problems = new List<string>();
        var settings = new XmlReaderSettings { Schemas = Schemas.Value, ValidationType = ValidationType.Schema, DtdProcessing = DtdProcessing.Prohibit };
        settings.ValidationEventHandler += (_, e) => problems.Add(e.Message);
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
