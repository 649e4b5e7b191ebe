using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Store;

/// <summary>A repeated post with the same key answers what the first one answered.</summary>
/// <param name="Client">Who sent it; keys of two clients never meet.</param>
/// <param name="Key">The client's own key, 1 to 200 characters.</param>
/// <param name="BodyHash">SHA-256 of the body in hex, so that a reused key with another body is noticed.</param>
public sealed record IdempotencyKey(string Client, string Key, string BodyHash);

/// <summary>What was answered to a key: kept in the same transaction as what it answers.</summary>
public sealed record StoredAnswer(int Status, string Location, ReadOnlyMemory<byte> Body);

/// <summary>What to do to one resource. <see cref="FromVersion"/> 0 means it must not exist yet.</summary>
public sealed record Write(string Type, string Id, Resource? Resource, int FromVersion)
{
    public bool IsDelete => Resource is null;
}

/// <summary>
/// Everything one request writes: all of it is committed in one transaction or none of it. Versions are stated
/// beforehand, so two writers who read the same state cannot both succeed.
/// </summary>
public sealed class WriteSet
{
    private readonly List<Write> _writes = [];

    public IReadOnlyList<Write> Writes => _writes;

    public IdempotencyKey? Key { get; init; }

    /// <summary>Other keys that get the same answer, such as one made from the sender's own identifier.</summary>
    public IReadOnlyList<IdempotencyKey> FurtherKeys { get; init; } = [];

    /// <summary>The answer to keep under <see cref="Key"/> and <see cref="FurtherKeys"/>.</summary>
    public StoredAnswer? Answer { get; set; }

    /// <summary>Adds a new resource; gives it an id unless it has one.</summary>
    public T Create<T>(T resource)
        where T : Resource
    {
        resource.Id ??= NewId.Next();
        _writes.Add(new Write(resource.TypeName, resource.Id, resource, 0));
        return resource;
    }

    /// <summary>Adds the next version of a resource that was read at <paramref name="fromVersion"/>.</summary>
    public T Update<T>(T resource, int fromVersion)
        where T : Resource
    {
        _writes.Add(new Write(resource.TypeName, resource.Id ?? throw new ArgumentException("An update names its resource.", nameof(resource)), resource, fromVersion));
        return resource;
    }

    /// <summary>
    /// Called with the time of the commit when everything is checked and the bytes are about to be made: for what depends on
    /// those very bytes, such as a signature over a document of the same set. It may set meta, times, hashes and the answer,
    /// and nothing that a check has looked at.
    /// </summary>
    public Action<DateTimeOffset>? Seal { get; set; }

    internal IReadOnlyList<IdempotencyKey> Keys => Key is null ? FurtherKeys : [Key, .. FurtherKeys];

    public void Delete(string type, string id, int fromVersion) => _writes.Add(new Write(type, id, null, fromVersion));
}

/// <summary>The versions written, in the order of the set; or the answer kept earlier, when the key was seen before.</summary>
public sealed record CommitResult(IReadOnlyList<RecordVersion> Written, StoredAnswer? EarlierAnswer)
{
    public bool WasRepeat => EarlierAnswer is not null;
}

/// <summary>Ids of resources: time-ordered, so that neighbours in time are neighbours in the index.</summary>
public static class NewId
{
    public static string Next() => Guid.CreateVersion7().ToString("D");
}
