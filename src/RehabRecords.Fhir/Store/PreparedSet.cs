using RehabRecords.Fhir.Search;

namespace RehabRecords.Fhir.Store;

/// <summary>A write whose bytes and index rows were made before the writer is asked for its time.</summary>
internal sealed record PreparedWrite(Write Write, DateTimeOffset Updated, byte[] Json, IndexRows Rows)
{
    public int Version => Write.FromVersion + 1;

    /// <summary>For a deletion: numbers of the reference parameters by which something may still refer to the resource.</summary>
    public IReadOnlyList<int> Pointers { get; init; } = [];
}

internal sealed record PreparedSet(IReadOnlyList<PreparedWrite> Writes, IReadOnlyList<IdempotencyKey> Keys, StoredAnswer? Answer, DateTimeOffset Made);
