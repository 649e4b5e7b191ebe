using Hl7.Fhir.Model;

namespace RehabRecords.Exchange;

/// <summary>What a resource says, without what each store adds for itself: version, time, source.</summary>
internal static class Content
{
    /// <summary>What every store sets for itself; nothing else may differ after a round trip.</summary>
    public static readonly IReadOnlyList<string> OwnedByTheServer = ["meta.versionId", "meta.lastUpdated", "meta.source", "identifier (urn:ietf:rfc:3986, the address of the origin)"];

    public static bool Same(Resource one, Resource other) => Bare(one).IsExactly(Bare(other));

    /// <summary>The same apart from business identifiers, which two places may each have added to.</summary>
    public static bool SameButIdentifiers(Resource one, Resource other)
    {
        var (a, b) = (Bare(one), Bare(other));
        foreach (var bare in new[] { a, b })
            if (bare is IIdentifiable<List<Identifier>> many)
                many.Identifier.Clear();
        return a.IsExactly(b);
    }

    /// <summary>Names of the elements in which two resources differ, extensions by their own names.</summary>
    public static IReadOnlyList<string> Differences(Resource one, Resource other)
    {
        var (a, b) = (Parts(Bare(one)), Parts(Bare(other)));
        return [.. a.Keys.Union(b.Keys).Where(k => !(a.TryGetValue(k, out var x) && b.TryGetValue(k, out var y) && x.Count == y.Count && x.Zip(y).All(p => p.First.IsExactly(p.Second)))).Order(StringComparer.Ordinal)];
    }

    private static Dictionary<string, List<Base>> Parts(Resource resource) =>
        resource.EnumerateElements().SelectMany(e => e.Value switch
        {
            Base one => [(e.Key, one)],
            IEnumerable<Base> many => many.Select(m => (m is Extension x ? $"extension {x.Url![(x.Url!.LastIndexOf('/') + 1)..]}" : e.Key, m)),
            _ => Enumerable.Empty<(string, Base)>(),
        }).GroupBy(p => p.Item1).ToDictionary(g => g.Key, g => g.Select(p => p.Item2).ToList());

    private static Resource Bare(Resource resource)
    {
        var bare = (Resource)resource.DeepCopy();
        bare.Id = null;
        if (bare.Meta is { } meta)
        {
            (meta.VersionId, meta.LastUpdated, meta.Source) = (null, null, null);
            if (!meta.EnumerateElements().Any())
                bare.Meta = null;
        }

        return bare;
    }
}
