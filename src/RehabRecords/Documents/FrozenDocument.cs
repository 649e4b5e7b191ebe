using System.Security.Cryptography;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Bundles;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Documents;

/// <summary>
/// A document Bundle that is stored with its Composition and never changes: the bytes the store serves are the bytes that
/// were hashed and signed. Its identifier is a fingerprint of the versions in it, claimed once and for all.
/// </summary>
public sealed class FrozenDocument
{
    public const string MediaType = "application/fhir+json";

    private FrozenDocument(Bundle bundle) => Bundle = bundle;

    public Bundle Bundle { get; }

    public string Id => Bundle.Id!;

    /// <summary>urn:uuid:…</summary>
    public string Identifier => Bundle.Identifier!.Value!;

    /// <summary>Adds the document of a Composition that is already in the set.</summary>
    /// <param name="profile">What the document claims.</param>
    public static async Task<FrozenDocument> AddAsync(WriteSet set, DocumentBuilder documents, Composition composition, string profile, DateTimeOffset now, CancellationToken ct)
    {
        var bundle = await documents.BuildAsync(set, composition, now, ct);
        bundle.Meta!.Profile = [profile];
        return new FrozenDocument(set.Create(bundle));
    }

    /// <summary>The bytes as they will be stored at <paramref name="at"/>, and their SHA-256 in hex. To be called from the seal of the set.</summary>
    /// <param name="set">What is written beside the document and stands in it gets its version and time here, as the store will set it.</param>
    public string Seal(WriteSet set, DateTimeOffset at)
    {
        foreach (var write in set.Writes)
            if (write.Resource is { } resource && resource != Bundle)
            {
                resource.Meta ??= new Meta();
                resource.Meta.VersionId = (write.FromVersion + 1).ToString(System.Globalization.CultureInfo.InvariantCulture);
                // As the store does: a clock that was set back makes no version look older than the one before.
                resource.Meta.LastUpdated = write.FromVersion > 0 && resource.Meta.LastUpdated > at ? resource.Meta.LastUpdated : at;
            }
        Bundle.Meta ??= new Meta();
        (Bundle.Meta.VersionId, Bundle.Meta.LastUpdated, Bundle.Timestamp) = ("1", at, at);
        return HashOf(ResourceWriter.Json(Bundle));
    }

    public static string HashOf(ReadOnlySpan<byte> bytes) => Convert.ToHexStringLower(SHA256.HashData(bytes));
}
