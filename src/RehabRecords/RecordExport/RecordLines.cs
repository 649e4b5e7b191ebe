using System.Globalization;
using System.Text;
using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Store;

namespace RehabRecords.RecordExport;

/// <summary>
/// Reads the files of a record zip that have a version on each line. A line is taken when it is read by the same guarded reader as
/// everything from outside, says itself which version it is, and is byte for byte what this program writes for it: so what is
/// restored can be served unread, like everything else that is stored.
/// </summary>
internal sealed class RecordLines(VersionStaging staging, ProblemList problems, RecordManifest manifest, Action<ExportProgress>? progress)
{
    /// <summary>A frozen document is one line, and may be longer than a body that is posted.</summary>
    private static readonly ReadLimits Limits = ReadLimits.Default with { MaxBytes = 64 * 1024 * 1024, MaxArrayLength = 50_000 };

    private const int LongestAddress = 200;
    private const int ReportEvery = 500;

    private long _read;

    public static bool Takes(string path) => path is RecordZip.Order or RecordZip.Deletions || RecordZip.Split(path) is not null;

    public async Task ReadAsync(RecordFile file, ZipSource source, CancellationToken ct)
    {
        long lines = 0, resources = 0;
        var lastId = "";
        await foreach (var line in source.LinesAsync(file.Path == RecordZip.Order ? LongestAddress : Limits.MaxBytes, ct))
        {
            lines++;
            var where = $"{file.Path}, line {lines}";
            if (file.Path == RecordZip.Order)
                Place(where, line.Span, lines);
            else if (file.Path == RecordZip.Deletions)
                Deletion(where, line);
            else if (Resource(where, RecordZip.Split(file.Path)!.Value.Type, line) is { } id && id != lastId)
            {
                resources++;
                lastId = id;
            }

            if (file.Path != RecordZip.Order && (++_read % ReportEvery == 0 || _read == manifest.Versions))
                progress?.Invoke(new ExportProgress(file.Path, _read, manifest.Versions));
        }

        if (lines != file.Lines)
            problems.Add($"{file.Path} has {lines} lines; the manifest says {file.Lines?.ToString(CultureInfo.InvariantCulture) ?? "nothing about it"}.");
        if (RecordZip.Split(file.Path) is not null && resources != file.Resources)
            problems.Add($"{file.Path} has versions of {resources} resources; the manifest says {file.Resources?.ToString(CultureInfo.InvariantCulture) ?? "nothing about it"}.");
    }

    /// <summary>The id of the resource, whenever it has one.</summary>
    private string? Resource(string where, string type, ReadOnlyMemory<byte> line)
    {
        Resource resource;
        try
        {
            resource = ResourceReader.Read(line, FhirFormat.Json, Limits);
        }
        catch (RefusedException refused)
        {
            problems.Add($"{where} is no resource: {refused.Issues[0].Message}");
            return null;
        }

        if (resource.TypeName != type)
            problems.Add($"{where} is a {resource.TypeName}, not a {type}.");
        else if (resource is not { Id: { } id, Meta: { LastUpdated: { } updated, VersionId: { } text } }
            || !int.TryParse(text, NumberStyles.None, CultureInfo.InvariantCulture, out var version) || version < 1)
            problems.Add($"{where} does not say its id, version and time.");
        else if (!ResourceWriter.Json(resource).AsSpan().SequenceEqual(line.Span))
            problems.Add($"{where} ({type}/{id}) is not written as this format writes it.");
        else
            Stage(where, new RecordVersion(0, type, id, version, Deleted: false, updated, line));
        return resource.Id;
    }

    private void Deletion(string where, ReadOnlyMemory<byte> line)
    {
        RecordVersion? deletion;
        try
        {
            deletion = DeletionLine.Read(line);
        }
        catch (RefusedException)
        {
            deletion = null;
        }

        if (deletion is null)
            problems.Add($"{where} is no deletion as this format writes it.");
        else
            Stage(where, deletion);
    }

    private void Stage(string where, RecordVersion version)
    {
        if (!staging.Add(version))
            problems.Add($"{where}: {version.VersionedAddress} is here twice.");
        // What a document refers to is inside it.
        if (version is { Deleted: false, Type: not "Bundle" })
            ReferenceScan.Read(version.Json.Span, found =>
            {
                if (found.Address is var (type, id, number))
                    staging.Cite(type, id, number, version.VersionedAddress);
            });
    }

    private void Place(string where, ReadOnlySpan<byte> line, long place)
    {
        var text = Encoding.ASCII.GetString(line);
        if (new FoundReference(text, IsCanonical: false).Address is not var (type, id, version) || version is null || !staging.Place(type, id, version.Value, place))
            problems.Add($"{where} names no version that is here, or one that was named before.");
    }
}
