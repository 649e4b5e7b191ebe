using RehabRecords.Fhir.Parsing;
using RehabRecords.Tests.Fhir.Definitions;

namespace RehabRecords.Tests.Fhir.Parsing;

/// <summary>The XML we write, checked by the official R4 schemas, which know nothing of the library that wrote it.</summary>
public class OfficialSchemaTests
{
    [Fact]
    public void Every_example_written_as_xml_is_valid()
    {
        var seen = 0;
        foreach (var file in SharedDefinitions.Examples)
        {
            var problems = OfficialSchemas.Problems(ResourceWriter.Xml(ResourceReader.Read(File.ReadAllBytes(file), FhirFormat.Json)));
            Assert.True(problems.Count == 0, $"{Path.GetFileName(file)}: {string.Join("; ", problems)}");
            seen++;
        }

        Assert.True(seen > 0, "examples/ holds no example");
    }

    [Theory]
    [InlineData("<Patient xmlns=\"http://hl7.org/fhir\"><gender value=\"unheard-of\"/></Patient>")]
    [InlineData("<Patient xmlns=\"http://hl7.org/fhir\"><birthDate value=\"2000-01-01\"/><active value=\"true\"/></Patient>")]
    public void The_schemas_see_a_fault(string xml) => Assert.NotEmpty(OfficialSchemas.Problems(System.Text.Encoding.UTF8.GetBytes(xml)));
}
