using RehabRecords.Fhir.Search;
using RehabRecords.Fhir.Store;
using RehabRecords.Host;

namespace RehabRecords.Access;

/// <summary>
/// The stores, one for each organisation. No statement of any of them can read another's rows, so nothing that is counted,
/// included, refused or told of an error can be another organisation's.
/// </summary>
public sealed class Stores(Settings settings, SearchIndexer indexer, TimeProvider clock) : IAsyncDisposable
{
    /// <summary>Key of the one organisation there is where nobody signs in; its store is the data folder itself.</summary>
    public const string Only = "";

    private readonly Lazy<IReadOnlyDictionary<string, RecordStore>> _stores = new(() => Open(settings, indexer, clock));

    public IEnumerable<string> Organisations => _stores.Value.Keys;

    /// <exception cref="StoreUnusableException">One of them cannot be opened.</exception>
    public void Open() => _ = _stores.Value;

    public RecordStore Of(string organisation) =>
        _stores.Value.GetValueOrDefault(organisation) ?? throw new InvalidOperationException("There is no such organisation.");

    public static string FolderOf(string dataFolder, string organisation) =>
        organisation == Only ? dataFolder : Path.Combine(dataFolder, "organisations", organisation);

    /// <summary>On a server each organisation has a schema of its own.</summary>
    public static string SchemaOf(string schema, string organisation) =>
        organisation == Only ? schema : $"{schema}_{organisation.Replace('-', '_')}";

    public async Task<bool> AreReachableAsync(CancellationToken ct)
    {
        foreach (var store in _stores.Value.Values)
            if (!await store.IsReachableAsync(ct))
                return false;
        return true;
    }

    public async ValueTask DisposeAsync()
    {
        if (_stores.IsValueCreated)
            foreach (var store in _stores.Value.Values)
                await store.DisposeAsync();
    }

    private static Dictionary<string, RecordStore> Open(Settings settings, SearchIndexer indexer, TimeProvider clock)
    {
        var opened = new Dictionary<string, RecordStore>(StringComparer.Ordinal);
        try
        {
            foreach (var key in settings.Access.IsDemo ? (IEnumerable<string>)[Only] : settings.Access.Organisations.Keys.Order(StringComparer.Ordinal))
                opened[key] = settings.Store.OpenAsync(FolderOf(settings.DataFolder, key), SchemaOf(settings.Store.Schema, key), indexer, clock).GetAwaiter().GetResult();
            return opened;
        }
        catch
        {
            foreach (var store in opened.Values)
                store.DisposeAsync().AsTask().GetAwaiter().GetResult();
            throw;
        }
    }
}
