using System.IO.Compression;
using System.Security.Cryptography;
using System.Text;
using System.Text.Json;
using RehabRecords.Fhir.Store;

namespace RehabRecords.RecordExport;

/// <summary>What was found out about a record zip.</summary>
/// <param name="Problems">In plain sentences; none when all is as it was exported.</param>
/// <param name="Manifest">Null when there is no readable one.</param>
/// <param name="Digest">SHA-256 of the manifest, to be compared with the one noted when the file was handed over.</param>
internal sealed record RecordVerdict(IReadOnlyList<string> Problems, RecordManifest? Manifest, string? Digest)
{
    public bool IsWhole => Problems.Count == 0;
}

/// <summary>
/// Checks a record zip: every file by length and digest, every line as a resource, every resource for missing versions,
/// every reference for where it leads. It unpacks into memory piece by piece and never into a folder. Versions are laid out
/// in <paramref name="staging"/>, from where a whole record can be restored.
/// </summary>
internal sealed class VerifyRecord(VersionStaging staging, Action<ExportProgress>? progress = null)
{
    private const long LargestManifest = 64 * 1024 * 1024;

    /// <summary>Text packs some ten to sixty times smaller; what promises more than this is meant to fill a disk.</summary>
    private const long MostUnpacking = 200;

    private readonly ProblemList _problems = new();

    public async Task<RecordVerdict> RunAsync(Stream zip, CancellationToken ct)
    {
        RecordManifest? manifest = null;
        string? digest = null;
        try
        {
            if (ZipTail.Problem(zip) is { } unfit)
                return new RecordVerdict([unfit], null, null);
            zip.Position = 0;
            await using var archive = await ZipArchive.CreateAsync(zip, ZipArchiveMode.Read, leaveOpen: true, entryNameEncoding: null, ct);
            var entries = Entries(archive);
            (manifest, digest) = await ManifestAsync(entries, ct);
            if (manifest is not null && Announced(manifest, zip.Length))
            {
                await FilesAsync(manifest, entries, ct);
                Whole(manifest);
            }
        }
        catch (InvalidDataException damaged)
        {
            _problems.Add($"The zip is damaged: {damaged.Message}");
        }
        catch (EndOfStreamException)
        {
            _problems.Add("The zip is damaged: it ends too early.");
        }

        return new RecordVerdict(_problems.All, manifest, digest);
    }

    private Dictionary<string, ZipArchiveEntry> Entries(ZipArchive archive)
    {
        var entries = new Dictionary<string, ZipArchiveEntry>(StringComparer.Ordinal);
        foreach (var entry in archive.Entries)
        {
            if (!RecordZip.IsKnown(entry.FullName))
                _problems.Add($"'{Shown(entry.FullName)}' does not belong into a record zip; it was not read.");
            else if (!entries.TryAdd(entry.FullName, entry))
                _problems.Add($"{entry.FullName} is in the zip twice.");
        }

        return entries;
    }

    private async Task<(RecordManifest? Manifest, string? Digest)> ManifestAsync(Dictionary<string, ZipArchiveEntry> entries, CancellationToken ct)
    {
        if (!entries.TryGetValue(RecordZip.Manifest, out var entry))
        {
            _problems.Add($"There is no {RecordZip.Manifest}, so nothing can be checked against it.");
            return (null, null);
        }

        var json = await ReadAsync(entry, LargestManifest, ct);
        if (json is null)
            return (null, null);
        var digest = Convert.ToHexStringLower(SHA256.HashData(json));
        var seal = entries.TryGetValue(RecordZip.Seal, out var sealEntry) ? await ReadAsync(sealEntry, 1024, ct) : null;
        if (seal is null)
            _problems.Add($"There is no readable {RecordZip.Seal}, so it cannot be told whether {RecordZip.Manifest} was changed.");
        else if (!seal.AsSpan().SequenceEqual(Encoding.ASCII.GetBytes($"{digest}  {RecordZip.Manifest}\n")))
            _problems.Add($"{RecordZip.Manifest} was changed: its digest is {digest}, which is not the one in {RecordZip.Seal}.");
        try
        {
            var manifest = RecordManifest.Read(json);
            if (manifest.Format != RecordZip.Format || manifest.FormatVersion != RecordZip.FormatVersion || manifest.FhirVersion != "4.0.1")
            {
                _problems.Add($"The format is '{Shown(manifest.Format)}' version {manifest.FormatVersion} of FHIR '{Shown(manifest.FhirVersion)}'; this program reads '{RecordZip.Format}' version {RecordZip.FormatVersion} of FHIR '4.0.1'.");
                return (null, digest);
            }

            return (manifest, digest);
        }
        catch (JsonException unread)
        {
            _problems.Add($"{RecordZip.Manifest} cannot be read: {Shown(unread.Message, 500)}");
            return (null, digest);
        }
    }

    /// <summary>Whether what the manifest announces is of a size that can be.</summary>
    private bool Announced(RecordManifest manifest, long zipLength)
    {
        decimal announced = manifest.Files.Sum(f => (decimal)f.Bytes);
        if (manifest.Files.All(f => f.Bytes >= 0) && announced <= (MostUnpacking * (decimal)zipLength) + LargestManifest)
            return true;
        _problems.Add($"The manifest announces {announced} bytes in a zip of {zipLength}; that is not the size of a record, so it was not unpacked.");
        return false;
    }

    private async Task FilesAsync(RecordManifest manifest, Dictionary<string, ZipArchiveEntry> entries, CancellationToken ct)
    {
        var listed = new HashSet<string>(StringComparer.Ordinal) { RecordZip.Manifest, RecordZip.Seal };
        var lines = new RecordLines(staging, _problems, manifest, progress);
        foreach (var file in manifest.Files)
        {
            if (!RecordZip.IsKnown(file.Path) || !listed.Add(file.Path))
                _problems.Add($"The manifest names '{Shown(file.Path)}', which is no file of a record zip or was named before.");
            else if (!entries.TryGetValue(file.Path, out var entry))
                _problems.Add($"{file.Path} is missing.");
            else
                await FileAsync(file, entry, lines, ct);
        }

        foreach (var required in (ReadOnlySpan<string>)[RecordZip.Readme, RecordZip.Order, RecordZip.Deletions])
            if (!listed.Contains(required))
                _problems.Add($"The manifest does not name {required}.");
        foreach (var unlisted in entries.Keys.Where(path => !listed.Contains(path)))
            _problems.Add($"{unlisted} is in the zip and not in the manifest.");
    }

    private async Task FileAsync(RecordFile file, ZipArchiveEntry entry, RecordLines lines, CancellationToken ct)
    {
        await using var source = new ZipSource(entry, file.Bytes);
        try
        {
            if (RecordLines.Takes(file.Path))
                await lines.ReadAsync(file, source, ct);
            else
                await source.ThroughAsync(ct);
        }
        catch (InvalidDataException damaged)
        {
            _problems.Add($"{file.Path} is damaged: {damaged.Message}.");
            return;
        }

        if (source.Bytes != file.Bytes)
            _problems.Add($"{file.Path} has {source.Bytes} bytes; the manifest says {file.Bytes}.");
        else if (source.Sha256 != file.Sha256)
            _problems.Add($"{file.Path} was changed: its digest is {source.Sha256}, in the manifest it is {Shown(file.Sha256)}.");
    }

    /// <summary>What can be told only when all was read.</summary>
    private void Whole(RecordManifest manifest)
    {
        var (versions, deletions) = staging.Count();
        if (versions != manifest.Versions || deletions != manifest.Deletions)
            _problems.Add($"There are {versions} versions, {deletions} of them deletions; the manifest says {manifest.Versions} and {manifest.Deletions}.");
        if (!staging.Has("Patient", manifest.Person))
            _problems.Add($"Patient/{Shown(manifest.Person)}, whose record this is, is not in it.");
        foreach (var address in staging.WithoutPlace())
            if (!_problems.Add($"{address} is missing from {RecordZip.Order}."))
                break;
        foreach (var (address, count, highest) in staging.WithGaps())
            if (!_problems.Add($"Of {address} {count} versions are here and the latest is number {highest}: {(highest > count ? $"{highest - count} missing" : "they do not begin with 1")}."))
                break;
        foreach (var address in staging.OutOfOrder())
            if (!_problems.Add($"{address} is older than the version before it."))
                break;
        var outside = manifest.Outside.ToHashSet(StringComparer.Ordinal);
        foreach (var (type, id, version, by) in staging.Unresolved())
            if (!outside.Contains($"{type}/{id}") && !_problems.Add($"{by} refers to {Shown($"{type}/{id}")}{(version is { } number ? $", version {number}" : "")}, which is not here."))
                break;
    }

    private async Task<byte[]?> ReadAsync(ZipArchiveEntry entry, long most, CancellationToken ct)
    {
        await using var source = new ZipSource(entry, most);
        try
        {
            return await source.AllAsync(ct);
        }
        catch (InvalidDataException damaged)
        {
            _problems.Add($"{entry.FullName} is damaged: {damaged.Message}.");
            return null;
        }
    }

    /// <summary>What comes from the file and is put on a screen: short, and without what could steer a terminal.</summary>
    private static string Shown(string text, int most = 100) => new([.. text.Take(most).Select(c => char.IsControl(c) ? '?' : c)]);
}
