namespace RehabRecords.Fhir.Store;

/// <summary>One version of one resource, as the bytes that are stored and served.</summary>
/// <param name="Sequence">Place in the order of commits of the whole store; never reused.</param>
/// <param name="Json">The normalised FHIR JSON in UTF-8, or empty for a deletion.</param>
public sealed record RecordVersion(
    long Sequence, string Type, string Id, int Version, bool Deleted, DateTimeOffset LastUpdated, ReadOnlyMemory<byte> Json)
{
    public string Address => $"{Type}/{Id}";

    public string VersionedAddress => $"{Type}/{Id}/_history/{Version}";
}
