using Hl7.Fhir.Model;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Store;

namespace RehabRecords.RecordExport;

/// <summary>A deletion as a history Bundle with one entry, and back.</summary>
internal static class DeletionLine
{
    public static Bundle Of(RecordVersion version) => new()
    {
        Type = Bundle.BundleType.History,
        Entry =
        [
            new Bundle.EntryComponent
            {
                Request = new Bundle.RequestComponent { Method = Bundle.HTTPVerb.DELETE, Url = version.Address },
                Response = new Bundle.ResponseComponent { Status = "204", Etag = $"W/\"{version.Version}\"", LastModified = version.LastUpdated },
            },
        ],
    };

    /// <summary>Null when it is no such Bundle; its bytes must be just those that are written for what is read.</summary>
    public static RecordVersion? Read(ReadOnlyMemory<byte> line)
    {
        if (ResourceReader.Read(line, FhirFormat.Json) is not Bundle { Entry: [{ Request.Url: { } url, Response: { LastModified: { } at, Etag: { } tag } }] }
            || url.Split('/') is not [var type, var id] || Fhir.VersionTag.Read(tag) is not { } version)
            return null;
        var read = new RecordVersion(0, type, id, version, Deleted: true, at, ReadOnlyMemory<byte>.Empty);
        return ResourceWriter.Json(Of(read)).AsSpan().SequenceEqual(line.Span) ? read : null;
    }
}
