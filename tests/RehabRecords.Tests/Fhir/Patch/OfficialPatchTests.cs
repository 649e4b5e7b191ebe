using System.Text.Json.Nodes;
using System.Xml.Linq;
using Hl7.Fhir.Model;
using Hl7.Fhir.Serialization;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Patch;
using Xunit.Abstractions;

namespace RehabRecords.Tests.Fhir.Patch;

/// <summary>
/// The JSON Patch and FHIRPath Patch suites of github FHIR/fhir-test-cases, read from a folder fhir-test-cases in the folder
/// REHAB_SHARED or in ../shared beside the checkout. Every case must come out as the suite says.
/// </summary>
public class OfficialPatchTests(ITestOutputHelper output)
{
    [Fact]
    public void Every_json_patch_case_comes_out_as_it_should() => Run("json-patch-tests.json", file =>
        JsonNode.Parse(File.ReadAllText(file))!.AsArray().Select(c => (c!["comment"]!.ToString(), JsonCase(c.AsObject()))));

    [Fact]
    public void Every_fhirpath_patch_case_comes_out_as_it_should() => Run("fhir-patch-tests.xml", file =>
        XDocument.Load(file).Root!.Elements("case").Select(c => (c.Attribute("name")!.Value, FhirPathCase(c))));

    /// <summary>What is wrong, or null.</summary>
    private static string? JsonCase(JsonObject c)
    {
        try
        {
            var patch = (JsonPatch)ResourcePatch.OfJson(System.Text.Encoding.UTF8.GetBytes(c["patch"]!.ToJsonString()));
            var result = patch.ApplyTo(c["doc"]!.DeepClone().AsObject());
            return c["expected"] is not { } expected ? $"should fail ({c["error"]}), gave {result.ToJsonString()}"
                : JsonNode.DeepEquals(result, expected) ? null : $"gave {result.ToJsonString()}";
        }
        catch (RefusedException refused)
        {
            return c["error"] is null ? refused.Message : null;
        }
    }

    /// <summary>As the service does it: the result is read back as strictly as any body. Every resource of a record has an id, so these get one.</summary>
    private static string? FhirPathCase(XElement c)
    {
        try
        {
            var patch = (FhirPathPatch)ResourcePatch.Of(Read(c.Element("diff")!), "");
            var result = Written(patch.Apply(ResourceWriter.Json(WithId(Read(c.Element("input")!)))));
            return c.Element("output") is not { } expected ? $"should fail ({c.Element("error")?.Attribute("msg")?.Value}), gave {result}"
                : result == Written(WithId(Read(expected))) ? null : $"gave {result}";
        }
        catch (RefusedException refused)
        {
            return c.Element("error") is null ? refused.Message : null;
        }
    }

    private static Resource Read(XElement parent)
    {
        var resource = new XElement(parent.Elements().First());
        resource.DescendantNodes().OfType<XComment>().Remove();
        new FhirXmlDeserializer(new DeserializerSettings().UsingMode(DeserializationMode.SyntaxOnly)).TryDeserializeResource(resource.CreateReader(), out var read, out _);
        return read ?? throw new InvalidDataException($"The case holds no resource: {resource}");
    }

    /// <summary>Narratives are compared as XHTML: a quotation mark may be written in two ways, and the suite's file is read without its indentation.</summary>
    private static string Written(Resource resource)
    {
        if (resource is DomainResource { Text: { Div: { } div } text })
            text.Div = XElement.Parse(div).ToString(SaveOptions.DisableFormatting);
        return System.Text.Encoding.UTF8.GetString(ResourceWriter.Json(resource));
    }

    private static Resource WithId(Resource resource)
    {
        resource.Id = "example";
        return resource;
    }

    private void Run(string name, Func<string, IEnumerable<(string Name, string? Wrong)>> cases)
    {
        var shared = Environment.GetEnvironmentVariable("REHAB_SHARED") ?? Path.Combine(Repository.Root, "..", "shared");
        var file = Path.Combine(shared, "fhir-test-cases", "patch", name);
        if (!File.Exists(file))
        {
            output.WriteLine("Not run: there is no fhir-test-cases folder in REHAB_SHARED or in ../shared beside the checkout.");
            return;
        }

        var all = cases(file).ToList();
        output.WriteLine($"{all.Count} cases in {name}, {all.Count(c => c.Wrong is not null)} wrong");
        Assert.NotEmpty(all);
        Assert.True(all.TrueForAll(c => c.Wrong is null), string.Join(Environment.NewLine, all.Where(c => c.Wrong is not null).Select(c => $"{c.Name}: {c.Wrong}")));
    }
}
