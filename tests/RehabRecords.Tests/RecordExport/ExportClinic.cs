using System.IO.Compression;
using System.Text;
using System.Text.Json.Nodes;
using RehabRecords.Fhir.Store;
using RehabRecords.RecordExport;
using RehabRecords.Tests.Fhir.Store;

namespace RehabRecords.Tests.RecordExport;

/// <summary>A store of its own, and the steps of exporting and importing in the words of the tests.</summary>
internal sealed class ExportClinic : IAsyncDisposable
{
    private readonly string _folder = Directory.CreateTempSubdirectory("rehab-export-").FullName;

    private ExportClinic(RecordStore store, SetClock clock)
    {
        Store = store;
        Clock = clock;
    }

    public RecordStore Store { get; private set; }

    public SetClock Clock { get; }

    public static async Task<ExportClinic> OpenAsync()
    {
        var clinic = new ExportClinic(null!, new SetClock(DateTimeOffset.Parse("2026-05-01T09:00:00Z")));
        clinic.Store = await TestEngine.OpenAsync(clinic._folder, TestIndex.Indexer, clinic.Clock);
        return clinic;
    }

    public static Task<byte[]> ExportAsync(RecordStore store, string person) => ExportAsync(store, person, new Host.Settings());

    public static async Task<byte[]> ExportAsync(RecordStore store, string person, Host.Settings settings)
    {
        using var export = await new ExportRecord(store, settings).BeginAsync(person, default);
        using var zip = new MemoryStream();
        await export.WriteAsync(zip, default);
        return zip.ToArray();
    }

    internal static async Task<RecordVerdict> VerifyAsync(byte[] zip)
    {
        using var staging = new VersionStaging(keepBytes: false);
        return await new VerifyRecord(staging).RunAsync(new MemoryStream(zip), default);
    }

    internal static async Task<(RecordVerdict Verdict, RestoreResult? Result)> ImportAsync(RecordStore store, byte[] zip) =>
        await ImportRecord.RunAsync(store, new MemoryStream(zip), null, default);

    /// <summary>The files of a zip by name.</summary>
    public static Dictionary<string, byte[]> Files(byte[] zip)
    {
        using var archive = new ZipArchive(new MemoryStream(zip));
        return archive.Entries.ToDictionary(e => e.FullName, e =>
        {
            using var stream = e.Open();
            using var all = new MemoryStream();
            stream.CopyTo(all);
            return all.ToArray();
        }, StringComparer.Ordinal);
    }

    public static byte[] Zip(IEnumerable<KeyValuePair<string, byte[]>> files)
    {
        using var to = new MemoryStream();
        using (var archive = new ZipArchive(to, ZipArchiveMode.Create, leaveOpen: true))
            foreach (var (name, content) in files)
            {
                using var stream = archive.CreateEntry(name, CompressionLevel.Fastest).Open();
                stream.Write(content);
            }

        return to.ToArray();
    }

    /// <summary>Everything but when and where it was exported: equal for equal records.</summary>
    public static SortedDictionary<string, string> Content(byte[] zip)
    {
        var files = Files(zip);
        var content = new SortedDictionary<string, string>(StringComparer.Ordinal);
        foreach (var (name, bytes) in files)
            if (name is not (RecordZip.Readme or RecordZip.Manifest or RecordZip.Seal))
                content[name] = Encoding.UTF8.GetString(bytes);
        var manifest = JsonNode.Parse(files[RecordZip.Manifest])!.AsObject();
        manifest.Remove("exportedAt");
        // They tell why something is missing, which a store that never had it cannot know.
        manifest.Remove("remarks");
        manifest["files"]!.AsArray().RemoveAt(0);
        content[RecordZip.Manifest] = manifest.ToJsonString();
        return content;
    }

    public async ValueTask DisposeAsync()
    {
        await Store.DisposeAsync();
        TestEngine.Drop(_folder);
    }
}
