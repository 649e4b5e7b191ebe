using RehabRecords.Fhir.Search;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Tests.Fhir.Store;

/// <summary>The contract, on the engine that the tests run on.</summary>
public sealed class RecordStoreTests : RecordStoreContract
{
    private readonly string _folder = Directory.CreateTempSubdirectory("records-").FullName;

    protected override Task<RecordStore> OpenAsync(SearchIndexer indexer, TimeProvider clock) => TestEngine.OpenAsync(_folder, indexer, clock);

    protected override Task CleanUpAsync()
    {
        TestEngine.Drop(_folder);
        return Task.CompletedTask;
    }
}
