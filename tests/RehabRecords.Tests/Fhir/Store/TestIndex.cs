using System.IO.Compression;
using System.Xml;
using Hl7.Fhir.Model;
using Hl7.Fhir.Serialization;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Search;

namespace RehabRecords.Tests.Fhir.Store;

/// <summary>The official search parameters, read once from the specification itself.</summary>
internal static class TestIndex
{
    private static readonly Lazy<IReadOnlyList<SearchParameter>> _definitions = new(Load);

    public static SearchParameters Parameters { get; } = SearchParameters.From(_definitions.Value, ResourceRegistry.Standard);

    public static SearchIndexer Indexer { get; } = new(Parameters);

    public static SearchIndexer IndexerOf(Func<SearchParameter, bool> chosen) =>
        new(SearchParameters.From(_definitions.Value.Where(chosen), ResourceRegistry.Standard));

    public static IReadOnlyList<SearchParameter> Definitions => _definitions.Value;

    private static List<SearchParameter> Load()
    {
        using var zip = ZipFile.OpenRead(SpecificationZip());
        using var stream = zip.GetEntry("search-parameters.xml")!.Open();
        using var reader = XmlReader.Create(stream);
        // The official file breaks small rules of its own (a blank at the end of a description), so complaints are let pass.
        FhirXmlDeserializer.OSTRICH.TryDeserializeResource(reader, out var bundle, out _);
        return [.. ((Bundle)bundle!).Entry.Select(e => e.Resource).OfType<SearchParameter>()];
    }

    private static string SpecificationZip()
    {
        var packages = Environment.GetEnvironmentVariable("NUGET_PACKAGES")
            ?? Path.Combine(Environment.GetFolderPath(Environment.SpecialFolder.UserProfile), ".nuget", "packages");
        return Directory.EnumerateFiles(Path.Combine(packages, "hl7.fhir.specification.data.r4"), "specification.zip", SearchOption.AllDirectories).First();
    }
}
