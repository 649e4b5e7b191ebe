using System.Security.Cryptography;
using System.Text;
using System.Text.Json;
using RehabRecords.Access;
using RehabRecords.Fhir.Store;
using RehabRecords.Host;

namespace RehabRecords.Erasure;

/// <summary>A tombstone outside of the store, with the key by which its hashes were made.</summary>
internal sealed record LedgerLine(string Key, Tombstone Tombstone)
{
    /// <summary>Whether a Patient is one of those who were erased.</summary>
    public bool Is(string patient) =>
        Tombstone.People.Contains(Convert.ToHexStringLower(HMACSHA256.HashData(Convert.FromHexString(Key), Encoding.UTF8.GetBytes($"Patient/{patient}"))));
}

/// <summary>
/// The erasures of each organisation in a file beside its store: a backup that was made before an erasure brings the person back when it is
/// restored, and by this file they are erased again. Until that is done the service does not start.
/// </summary>
internal sealed class ErasureLedger(Stores stores, Settings settings)
{
    public const string FileName = "erasures.ndjson";

    private static readonly JsonSerializerOptions Json = new(JsonSerializerDefaults.Web);

    public string PathOf(string organisation) => Path.Combine(Stores.FolderOf(settings.DataFolder, organisation), FileName);

    /// <exception cref="IOException">There is no such file, or it is none of these.</exception>
    public static IReadOnlyList<LedgerLine> Read(string path)
    {
        try
        {
            return [.. File.ReadLines(path).Where(l => l.Length > 0).Select(l => JsonSerializer.Deserialize<LedgerLine>(l, Json)!)];
        }
        catch (JsonException e)
        {
            throw new IOException($"{path} is no list of erasures ({FileName}): {e.Message}", e);
        }
    }

    /// <summary>What the store knows and the file does not is added to the file.</summary>
    /// <exception cref="StoreUnusableException">The file knows of erasures that the store does not: an older backup was restored.</exception>
    public async Task SettleAsync(CancellationToken ct)
    {
        foreach (var organisation in stores.Organisations)
        {
            var store = stores.Of(organisation);
            var path = PathOf(organisation);
            var written = File.Exists(path) ? Read(path) : [];
            var known = await store.TombstonesAsync(ct);
            var missing = written.Count(w => known.All(k => k.Id != w.Tombstone.Id));
            if (missing > 0)
                throw new StoreUnusableException(
                    $"{missing} of the erasures listed in {path} are not in the store: a backup from before them was restored, and those people are in it again. Run apply-erasures {path} on this store, then start the service.");
            await AddAsync(organisation, store, [.. known.Where(k => written.All(w => w.Tombstone.Id != k.Id))], ct);
        }
    }

    public async Task AddAsync(string organisation, RecordStore store, IReadOnlyList<Tombstone> tombstones, CancellationToken ct)
    {
        if (tombstones.Count == 0 || await store.ErasureKeyAsync(ct) is not { } key)
            return;
        var path = PathOf(organisation);
        var options = new FileStreamOptions { Mode = FileMode.Append, Access = FileAccess.Write };
        if (!OperatingSystem.IsWindows())
            options.UnixCreateMode = UnixFileMode.UserRead | UnixFileMode.UserWrite;
        await using var file = new FileStream(path, options);
        foreach (var tombstone in tombstones)
        {
            await JsonSerializer.SerializeAsync(file, new LedgerLine(key, tombstone), Json, ct);
            file.WriteByte((byte)'\n');
        }

        file.Flush(flushToDisk: true);
    }
}
