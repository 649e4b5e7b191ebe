using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Definitions;
using RehabRecords.Fhir.Search;

namespace RehabRecords.Tests.Fhir.Definitions;

public class DefinitionsPackTests
{
    private static DefinitionsPack Pack => SharedDefinitions.Pack;

    [Theory]
    [InlineData("http://hl7.org/fhir/StructureDefinition/Patient")]
    [InlineData("http://hl7.org/fhir/StructureDefinition/Timing")]
    [InlineData("http://hl7.org/fhir/StructureDefinition/shareableactivitydefinition")]
    [InlineData("http://hl7.org/fhir/StructureDefinition/shareableplandefinition")]
    [InlineData("http://hl7.org/fhir/StructureDefinition/clinicaldocument")]
    [InlineData("http://hl7.org/fhir/StructureDefinition/resource-pertainsToGoal")]
    [InlineData("https://rehabrecords.example/fhir/StructureDefinition/exercise-result")]
    [InlineData("https://rehabrecords.example/fhir/StructureDefinition/stated-value")]
    public void A_structure_definition_comes_with_its_snapshot(string canonical)
    {
        var found = Pack.Find<StructureDefinition>(canonical);
        Assert.NotNull(found);
        Assert.True(found.HasSnapshot);
        Assert.True(found.Snapshot!.Element.Count > 1);
    }

    [Theory]
    [InlineData("http://hl7.org/fhir/ValueSet/request-status", 7)]
    [InlineData("http://hl7.org/fhir/ValueSet/observation-status", 8)]
    [InlineData("http://hl7.org/fhir/ValueSet/adverse-event-severity", 3)]
    [InlineData("https://rehabrecords.example/fhir/ValueSet/help-level", 4)]
    public void A_value_set_comes_expanded(string canonical, int codes) =>
        Assert.Equal(codes, Count(Pack.Find<ValueSet>(canonical)!.Expansion!.Contains));

    private static int Count(List<ValueSet.ContainsComponent> contains) => contains.Sum(c => 1 + Count(c.Contains));

    [Theory]
    [InlineData("http://hl7.org/fhir/StructureDefinition/Patient|4.0.1", true)]
    [InlineData("http://hl7.org/fhir/StructureDefinition/Patient|5.0.0", false)]
    [InlineData("http://hl7.org/fhir/StructureDefinition/Patient#x", true)]
    [InlineData("http://hl7.org/fhir/StructureDefinition/Nobody", false)]
    [InlineData("https://rehabrecords.example/fhir/StructureDefinition/session|0.1.0", true)]
    [InlineData("https://rehabrecords.example/fhir/StructureDefinition/session|9.9.9", false)]
    public void A_canonical_with_a_version_finds_only_that_version(string canonical, bool found) =>
        Assert.Equal(found, Pack.Find(canonical) is not null);

    [Fact]
    public void A_definition_is_parsed_once() =>
        Assert.Same(Pack.TypeDefinition("Observation"), Pack.Find("http://hl7.org/fhir/StructureDefinition/Observation|4.0.1"));

    [Fact]
    public void All_official_search_parameters_are_there()
    {
        var parameters = Pack.SearchParameters().ToList();
        Assert.True(parameters.Count > 1300, $"{parameters.Count} search parameters");
        Assert.Contains(parameters, p => p.Code == "instantiates-canonical" && p.Base.Contains(ResourceType.CarePlan));
    }

    [Fact]
    public void The_parameters_of_the_types_that_are_kept_make_the_same_index_as_all_of_them()
    {
        var registry = ResourceRegistry.Standard;
        string[] kept = [.. registry.Kinds.Select(k => k.Type)];
        Assert.Equal(
            SearchParameters.From(Pack.SearchParameters(), registry, Pack.Compartments()).Fingerprint,
            SearchParameters.From(Pack.SearchParameters(kept), registry, Pack.Compartments()).Fingerprint);
        Assert.True(Pack.SearchParameters(kept).Count() < Pack.SearchParameters().Count() / 2);
    }

    [Fact]
    public void The_patient_compartment_is_there() =>
        Assert.Contains(Pack.Compartments(), c => c.Code == CompartmentType.Patient && c.Resource.Any(r => r.Code == ResourceType.CarePlan && r.Param.Any()));

    [Fact]
    public void Every_profile_of_the_folder_is_in_the_pack_as_ours()
    {
        var files = Directory.EnumerateFiles(Path.Combine(Repository.Root, "profiles"), "*.json", SearchOption.AllDirectories).Count();
        Assert.Equal(files, Pack.Entries.Count(e => e.Own));
        Assert.Equal(["Observation"], Pack.OwnProfiles("Observation").Select(p => p.Of).Distinct());
    }

    [Fact]
    public void A_missing_pack_is_told_with_its_place()
    {
        var e = Assert.Throws<FileNotFoundException>(() => DefinitionsPack.Open("/nowhere/definitions.ndjson"));
        Assert.Contains("/nowhere/definitions.ndjson", e.Message, StringComparison.Ordinal);
    }

    [Theory]
    [InlineData("")]
    [InlineData("12345678\n")]
    [InlineData("      10\n{\"format\":")]
    [InlineData("      27\n{\"format\":9,\"entries\":[]} \n")]
    public void Another_file_is_not_taken_for_a_pack(string content)
    {
        var file = Path.GetTempFileName();
        File.WriteAllText(file, content);
        try
        {
            Assert.Throws<InvalidDataException>(() => DefinitionsPack.Open(file));
        }
        finally
        {
            File.Delete(file);
        }
    }

    [Theory]
    [InlineData("{\"resourceType\":\"ValueSet\",\"status\":\"active\"}", "a definition needs a url")]
    [InlineData("{\"resourceType\":\"ValueSet\",\"url\":\"http://x.example/v\",\"status\":\"sometimes\"}", "ValueSet.status")]
    [InlineData("{\"resourceType\":\"ValueSet\"", "not JSON")]
    public void A_wrong_profile_stops_the_build_naming_the_file(string content, string expected)
    {
        var folder = Directory.CreateTempSubdirectory("profiles").FullName;
        File.WriteAllText(Path.Combine(folder, "wrong.json"), content);
        var errors = new StringWriter();
        try
        {
            var code = PackBuilder.Run(["build-definitions", "--specification", SharedDefinitions.SpecificationZip, "--profiles", folder, "--out", Path.Combine(folder, "out")], errors);
            Assert.Equal(1, code);
            Assert.Contains("wrong.json", errors.ToString(), StringComparison.Ordinal);
            Assert.Contains(expected, errors.ToString(), StringComparison.Ordinal);
            Assert.False(File.Exists(Path.Combine(folder, "out")));
        }
        finally
        {
            Directory.Delete(folder, recursive: true);
        }
    }

    [Fact]
    public void The_build_step_says_what_it_needs()
    {
        var errors = new StringWriter();
        Assert.Equal(2, PackBuilder.Run(["build-definitions"], errors));
        Assert.Contains("--specification", errors.ToString(), StringComparison.Ordinal);
    }
}
