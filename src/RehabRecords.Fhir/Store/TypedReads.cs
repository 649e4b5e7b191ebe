using Hl7.Fhir.Model;
using RehabRecords.Fhir.Parsing;

namespace RehabRecords.Fhir.Store;

/// <summary>Reads that give resources instead of bytes.</summary>
public static class TypedReads
{
    /// <summary>The current version; null where there is none or it was deleted.</summary>
    public static async Task<(T Resource, int Version)?> GetAsync<T>(this RecordStore store, string id, CancellationToken ct = default)
        where T : Resource =>
        await store.ReadAsync(TypeOf<T>(), id, ct) is { Deleted: false } found ? (ResourceReader.Trusted<T>(found.Json), found.Version) : null;

    /// <summary>All matches, oldest resource first unless the query sorts; meta.versionId tells the version of each.</summary>
    public static async Task<IReadOnlyList<T>> FindAllAsync<T>(this RecordStore store, string query, CancellationToken ct = default)
        where T : Resource =>
        [.. (await store.FindAsync(TypeOf<T>(), query, ct)).Select(v => ResourceReader.Trusted<T>(v.Json))];

    /// <summary>What a reading makes of a version; what was made of it lately is not made again.</summary>
    /// <param name="version">Not a deletion.</param>
    /// <param name="reading">Gives something that nobody changes, and that depends on the resource alone.</param>
    public static TValue ReadingOf<T, TValue>(this RecordStore store, RecordVersion version, Func<T, TValue> reading)
        where T : Resource
        where TValue : class => store.Readings.Of(version, reading);

    private static string TypeOf<T>()
        where T : Resource => ModelInfo.GetFhirTypeNameForType(typeof(T)) ?? throw new ArgumentException($"{typeof(T).Name} is no FHIR resource type.");
}
