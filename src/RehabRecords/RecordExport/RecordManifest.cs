using System.Text.Json;
using System.Text.Json.Serialization;

namespace RehabRecords.RecordExport;

/// <summary>What a record zip holds, and by which digests it can be checked.</summary>
/// <param name="Format">Always "rehab-record".</param>
/// <param name="FormatVersion">Which edition of it.</param>
/// <param name="FhirVersion">Of the resources.</param>
/// <param name="Person">Id of the Patient.</param>
/// <param name="ExportedAt">The record is as it was at this moment.</param>
/// <param name="Source">Base address of the service it comes from.</param>
/// <param name="Versions">All versions, deletions among them.</param>
/// <param name="Deletions">How many of them are deletions.</param>
/// <param name="Files">Every file but the manifest and its seal, in the order in which they stand in the zip.</param>
/// <param name="Outside">References that lead out of the zip: to what is about another person, or is not in the store.</param>
/// <param name="Remarks">What a reader ought to know, such as a document that could not be assembled.</param>
internal sealed record RecordManifest(
    string Format,
    int FormatVersion,
    string FhirVersion,
    string Person,
    DateTimeOffset ExportedAt,
    string Source,
    long Versions,
    long Deletions,
    IReadOnlyList<RecordFile> Files,
    IReadOnlyList<string> Outside,
    IReadOnlyList<string> Remarks)
{
    private static readonly JsonSerializerOptions Json = new(JsonSerializerDefaults.Web)
    {
        WriteIndented = true,
        NewLine = "\n",
        RespectNullableAnnotations = true,
        RespectRequiredConstructorParameters = true,
        UnmappedMemberHandling = JsonUnmappedMemberHandling.Disallow,
        AllowDuplicateProperties = false,
        NumberHandling = JsonNumberHandling.Strict,
        DefaultIgnoreCondition = JsonIgnoreCondition.WhenWritingNull,
        Encoder = System.Text.Encodings.Web.JavaScriptEncoder.UnsafeRelaxedJsonEscaping,
    };

    public byte[] Write() => JsonSerializer.SerializeToUtf8Bytes(this, Json);

    /// <exception cref="JsonException">It is not such a manifest.</exception>
    public static RecordManifest Read(ReadOnlySpan<byte> json) => JsonSerializer.Deserialize<RecordManifest>(json, Json) ?? throw new JsonException("The manifest is empty.");
}

/// <param name="Path">In the zip.</param>
/// <param name="Bytes">Length, uncompressed.</param>
/// <param name="Sha256">Of the uncompressed bytes, in hex.</param>
/// <param name="Lines">Of a file with one version a line.</param>
/// <param name="Resources">How many resources these are versions of.</param>
internal sealed record RecordFile(string Path, long Bytes, string Sha256, long? Lines = null, long? Resources = null);
