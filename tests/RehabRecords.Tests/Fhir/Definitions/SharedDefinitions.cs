using System.Reflection;
using RehabRecords.Fhir.Definitions;
using RehabRecords.Fhir.Validation;

namespace RehabRecords.Tests.Fhir.Definitions;

/// <summary>One pack and one validator for all tests, as the program has.</summary>
internal static class SharedDefinitions
{
    private static readonly Lazy<DefinitionsPack> ThePack = new(() => DefinitionsPack.Open());
    private static readonly Lazy<ResourceValidator> TheValidator = new(() => ResourceValidator.Create(Pack));

    public static DefinitionsPack Pack => ThePack.Value;

    public static ResourceValidator Validator => TheValidator.Value;

    /// <summary>The R4 specification the pack was made from; the tests read the official schemas out of it.</summary>
    public static string SpecificationZip { get; } =
        typeof(SharedDefinitions).Assembly.GetCustomAttributes<AssemblyMetadataAttribute>().Single(a => a.Key == "SpecificationZip").Value!;

    /// <summary>The examples of the repository, valid ones only.</summary>
    public static IEnumerable<string> Examples => Directory.EnumerateFiles(Path.Combine(Repository.Root, "examples"), "*.json").Order(StringComparer.Ordinal);
}
