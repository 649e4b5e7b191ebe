using Hl7.Fhir.Model;
using Microsoft.Extensions.Caching.Memory;
using RehabRecords.Fhir.Parsing;

namespace RehabRecords.Fhir.Store;

/// <summary>
/// What was made of versions that were read lately. A version never changes, so what is made of it does not either, and taking the
/// bytes of all results of a person apart took longer than everything that was then computed from them. Held until nobody asked for
/// ten minutes, and forgotten with every erasure.
/// </summary>
internal sealed class Readings : IDisposable
{
    /// <summary>About 30 MB of results of a session.</summary>
    private const int Most = 30_000;

    private static readonly MemoryCacheEntryOptions Held = new() { Size = 1, SlidingExpiration = TimeSpan.FromMinutes(10) };

    private readonly MemoryCache _made = new(new MemoryCacheOptions { SizeLimit = Most });

    /// <param name="version">Not a deletion.</param>
    /// <param name="reading">Gives something that nobody changes, and that depends on the resource alone.</param>
    public TValue Of<TResource, TValue>(RecordVersion version, Func<TResource, TValue> reading)
        where TResource : Resource
        where TValue : class
    {
        // The place in the order of commits belongs to one version of the store.
        var key = (typeof(TValue), version.Sequence);
        if (_made.Get(key) is TValue made)
            return made;
        made = reading(ResourceReader.Trusted<TResource>(version.Json));
        _made.Set(key, made, Held);
        return made;
    }

    public void Forget() => _made.Clear();

    public void Dispose() => _made.Dispose();
}
