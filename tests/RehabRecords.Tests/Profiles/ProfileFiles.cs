using System.Text.Json;
using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Tests.Fhir.Definitions;

namespace RehabRecords.Tests.ProfilesAndExamples;

/// <summary>The files under profiles/ and examples/, read as they lie there.</summary>
internal static class ProfileFiles
{
    public const string Base = "https://rehabrecords.example/fhir";
    private static readonly string Examples = Path.Combine(Repository.Root, "examples");
    private static readonly string Invalid = Path.Combine(Examples, "invalid");
    private static readonly JsonSerializerOptions Web = new(JsonSerializerDefaults.Web);

    public static IReadOnlyList<Resource> Definitions { get; } =
        [.. Files(Path.Combine(Repository.Root, "profiles")).Select(f => Read(File.ReadAllBytes(f)))];

    public static IReadOnlyDictionary<string, Resource> Valid { get; } = Files(Examples).ToDictionary(Name, f => Read(File.ReadAllBytes(f)));

    public static IReadOnlyDictionary<string, ExpectedError> Expected { get; } = Files(Invalid)
        .Where(f => !f.EndsWith(".expected.json", StringComparison.Ordinal))
        .ToDictionary(Name, f => JsonSerializer.Deserialize<ExpectedError>(
            File.ReadAllText(f[..^".json".Length] + ".expected.json"), Web)!);

    public static IEnumerable<T> All<T>()
        where T : Resource => Definitions.OfType<T>();

    public static IEnumerable<StructureDefinition> Profiles => All<StructureDefinition>().Where(d => d.Type != "Extension");

    public static IEnumerable<StructureDefinition> ExtensionDefinitions => All<StructureDefinition>().Where(d => d.Type == "Extension");

    public static Resource InvalidExample(string name) => Read(File.ReadAllBytes(Path.Combine(Invalid, name + ".json")));

    /// <summary>What the elements of a definition say, in their order.</summary>
    public static IEnumerable<ElementDefinition> ElementsOf(StructureDefinition definition) => definition.Differential?.Element ?? [];

    public static IEnumerable<ValueSet.ConceptSetComponent> IncludesOf(ValueSet set) => set.Compose?.Include ?? [];

    public static HashSet<string> CodesOf(CodeSystem system) => [.. system.Concept.Select(c => c.Code).OfType<string>()];

    public static JsonNode ExampleJson(string name) => JsonNode.Parse(File.ReadAllText(Path.Combine(Examples, name + ".json")))!;

    public static Resource Read(byte[] json) => ResourceReader.Read(json, FhirFormat.Json);

    public static IReadOnlyList<Issue> Errors(Resource resource, string? profile = null) =>
        [.. SharedDefinitions.Validator.Validate(resource, profile).Where(i => i.Refuses)];

    private static IEnumerable<string> Files(string folder) => Directory.EnumerateFiles(folder, "*.json").Order(StringComparer.Ordinal);

    private static string Name(string file) => Path.GetFileNameWithoutExtension(file);
}

/// <summary>The one error an invalid example must give.</summary>
internal sealed record ExpectedError(string Profile, string Expression, string MessageContains);
