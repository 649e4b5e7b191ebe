using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Definitions;
using RehabRecords.Fhir.Search;

namespace RehabRecords.Tests.Fhir.Store;

/// <summary>The official search parameters, read once.</summary>
internal static class TestIndex
{
    private static readonly Lazy<IReadOnlyList<SearchParameter>> _definitions = new(() => [.. DefinitionsPack.Open().SearchParameters()]);

    public static SearchParameters Parameters { get; } = SearchParameters.From(_definitions.Value, ResourceRegistry.Standard, DefinitionsPack.Open().Compartments());

    public static SearchIndexer Indexer { get; } = new(Parameters);

    public static SearchIndexer IndexerOf(Func<SearchParameter, bool> chosen) =>
        new(SearchParameters.From(_definitions.Value.Where(chosen), ResourceRegistry.Standard));
}
