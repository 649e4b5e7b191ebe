using System.IO.Compression;
using System.Security.Cryptography;
using System.Text;
using System.Text.Json;
using System.Text.Json.Nodes;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Definitions;
using RehabRecords.Fhir.Search;
using RehabRecords.Fhir.Store;
using RehabRecords.RecordExport;

namespace RehabRecords.Fuzz;

/// <summary>The record of a person as a zip: told what is wrong with it, or restored as a whole, and then there already.</summary>
internal sealed class RecordZipTarget : Target
{
    private static readonly string[] ZipWords = ["PK\u0003\u0004", "PK\u0001\u0002", "PK\u0005\u0006", "PK\u0006\u0006", "\0\0\0\0", "../", "record/", "referred/", "manifest.json"];

    private readonly SearchIndexer _indexer;
    private readonly IReadOnlyList<byte[]> _zips;
    private readonly IReadOnlyList<byte[]> _json;

    private RecordZipTarget(IReadOnlyList<byte[]> zips, Seeds seeds, DefinitionsPack pack)
    {
        _zips = zips;
        _json = seeds.Json;
        _indexer = new SearchIndexer(SearchParameters.From(pack.SearchParameters(), ResourceRegistry.Standard, pack.Compartments()));
    }

    public override string Name => "record";

    public override int Weight => 3;

    /// <summary>Starts from the records of people that the service gives out.</summary>
    public static async Task<RecordZipTarget> OpenAsync(Service service, Seeds seeds, DefinitionsPack pack)
    {
        var zips = new List<byte[]>();
        foreach (var person in service.Existing.Where(a => a.StartsWith("Patient/", StringComparison.Ordinal)))
            zips.Add(await service.Http.GetByteArrayAsync($"/api/people/{person["Patient/".Length..]}/record"));
        return new RecordZipTarget([.. zips.OrderByDescending(z => z.Length).Take(5)], seeds, pack);
    }

    public override byte[] Make(Chance chance)
    {
        var zip = chance.Of(_zips);
        return chance.Below(6) switch
        {
            0 => Mutations.Bytes(zip, chance, _zips, ZipWords),
            1 => Packed(Damaged(Files(zip), chance)),
            // As by somebody who knows the format: the digests fit.
            _ => Packed(Sealed(Damaged(Files(zip), chance), recount: !chance.OneIn(4))),
        };
    }

    public override async Task<string?> RunAsync(byte[] input, Chance chance)
    {
        RecordVerdict verdict;
        using (var staging = new VersionStaging(keepBytes: false))
            verdict = await new VerifyRecord(staging).RunAsync(new MemoryStream(input), default);
        if (!verdict.IsWhole)
            return verdict.Problems.FirstOrDefault(p => p.Length is <= 10 or >= 2000) is { } told ? $"a problem is told in {told.Length} characters: {told[..Math.Min(300, told.Length)]}" : null;
        return verdict.Manifest is null || verdict.Digest is null ? "whole without a manifest" : await RestoreAsync(input);
    }

    private async Task<string?> RestoreAsync(byte[] input)
    {
        var folder = Directory.CreateTempSubdirectory("rehabrecords-fuzz-").FullName;
        try
        {
            await using var store = await RecordStore.OpenSqliteAsync(folder, _indexer, TimeProvider.System);
            var (_, first) = await ImportRecord.RunAsync(store, new MemoryStream(input), null, default);
            var (_, second) = await ImportRecord.RunAsync(store, new MemoryStream(input), null, default);
            return (first, second) is ({ Restored: > 0 } all, { Restored: 0 } none) && none.Present == all.Restored ? null : $"restored {first}, and again {second}";
        }
        catch (RefusedException refused)
        {
            return refused.Issues.Count == 0 ? "refused without an issue" : null;
        }
        finally
        {
            Directory.Delete(folder, recursive: true);
        }
    }

    private List<(string Name, byte[] Content)> Damaged(List<(string Name, byte[] Content)> files, Chance chance)
    {
        for (var times = chance.Between(1, 3); times > 0 && files.Count > 0; times--)
        {
            var at = chance.Below(files.Count);
            var (name, content) = files[at];
            switch (chance.Below(8))
            {
                case 0:
                    files.RemoveAt(at);
                    break;
                case 1:
                    files[at] = (chance.Of([name + ".html", "../" + name, "record/" + name, name.ToUpperInvariant(), name.Replace("record/", "referred/", StringComparison.Ordinal), chance.Of(Dictionary.Texts)]), content);
                    break;
                case 2:
                    files.Add((name, content));
                    break;
                case 3:
                    files[at] = (name, Mutations.Bytes(content, chance, _json, Dictionary.Texts));
                    break;
                case 4 when name == RecordZip.Manifest:
                    files[at] = (name, Mutations.Json(content, chance, _json));
                    break;
                default:
                    files[at] = (name, OtherLines(content, chance));
                    break;
            }
        }

        return files;
    }

    private byte[] OtherLines(byte[] content, Chance chance)
    {
        var lines = Encoding.UTF8.GetString(content).Split('\n').ToList();
        var at = chance.Below(lines.Count);
        switch (chance.Below(5))
        {
            case 0:
                lines.RemoveAt(at);
                break;
            case 1:
                lines.Insert(chance.Below(lines.Count + 1), lines[at]);
                break;
            case 2:
                lines.Insert(at, Encoding.UTF8.GetString(chance.Of(_json)).ReplaceLineEndings(" "));
                break;
            default:
                lines[at] = Encoding.UTF8.GetString(Mutations.Json(Encoding.UTF8.GetBytes(lines[at]), chance, _json));
                break;
        }

        return Encoding.UTF8.GetBytes(string.Join('\n', lines));
    }

    private static List<(string Name, byte[] Content)> Sealed(List<(string Name, byte[] Content)> files, bool recount)
    {
        var at = files.FindIndex(f => f.Name == RecordZip.Manifest);
        if (at < 0)
            return files;
        try
        {
            var manifest = RecordManifest.Read(files[at].Content);
            var listed = manifest.Files.Select(f => files.FindIndex(n => n.Name == f.Path) is >= 0 and var i ? Recounted(f, files[i].Content) : f).ToList();
            var versions = listed.Where(f => f.Lines is not null && f.Path != RecordZip.Order).Sum(f => f.Lines!.Value);
            files[at] = (RecordZip.Manifest, (manifest with { Files = listed, Versions = recount ? versions : manifest.Versions, Deletions = recount ? listed.Find(f => f.Path == RecordZip.Deletions)?.Lines ?? 0 : manifest.Deletions }).Write());
        }
        catch (JsonException)
        {
            // The manifest is what was damaged: it keeps its damage under a seal that fits.
        }

        var digest = Convert.ToHexStringLower(SHA256.HashData(files[at].Content));
        var seal = files.FindIndex(f => f.Name == RecordZip.Seal);
        if (seal >= 0)
            files[seal] = (RecordZip.Seal, Encoding.ASCII.GetBytes($"{digest}  {RecordZip.Manifest}\n"));
        return files;
    }

    private static RecordFile Recounted(RecordFile file, byte[] content) => file with
    {
        Bytes = content.Length,
        Sha256 = Convert.ToHexStringLower(SHA256.HashData(content)),
        Lines = file.Lines is null ? null : content.AsSpan().Count((byte)'\n'),
        Resources = file.Resources is null ? null : Resources(content),
    };

    private static long Resources(byte[] content)
    {
        long count = 0;
        var last = "";
        foreach (var line in Encoding.UTF8.GetString(content).Split('\n'))
        {
            var id = IdOf(line);
            if (id is null || id == last)
                continue;
            count++;
            last = id;
        }

        return count;
    }

    private static string? IdOf(string line)
    {
        try
        {
            return (JsonNode.Parse(line) as JsonObject)?["id"]?.ToString();
        }
        catch (Exception e) when (e is JsonException or ArgumentException)
        {
            // No JSON, or a member twice.
            return null;
        }
    }

    private static List<(string Name, byte[] Content)> Files(byte[] zip)
    {
        using var archive = new ZipArchive(new MemoryStream(zip));
        return [.. archive.Entries.Select(e =>
        {
            using var stream = e.Open();
            using var all = new MemoryStream();
            stream.CopyTo(all);
            return (e.FullName, all.ToArray());
        })];
    }

    private static byte[] Packed(List<(string Name, byte[] Content)> files)
    {
        using var to = new MemoryStream();
        using (var archive = new ZipArchive(to, ZipArchiveMode.Create, leaveOpen: true))
            foreach (var (name, content) in files)
            {
                using var stream = archive.CreateEntry(name.Length is > 0 and < 20_000 ? name : "x", CompressionLevel.Fastest).Open();
                stream.Write(content);
            }

        return to.ToArray();
    }
}
