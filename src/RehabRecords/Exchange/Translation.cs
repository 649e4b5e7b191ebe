using Hl7.Fhir.Model;
using RehabRecords.Fhir.Validation;

namespace RehabRecords.Exchange;

/// <summary>
/// Says in our words what came in: our ids and versions in place of theirs. What leads outside the Bundle stays an address of
/// theirs and is never followed; what leads back to us becomes our own again.
/// </summary>
/// <param name="twins">What each entry is here.</param>
/// <param name="versions">Which version here holds what an exact version there held, by its address there; without one the address is kept.</param>
internal sealed class Translation(IncomingBundle incoming, IReadOnlyDictionary<Incoming, Twin> twins, string fhirBase, IReadOnlyDictionary<string, int> versions)
{
    private readonly Dictionary<string, Incoming> _byUrl = incoming.Entries.ToDictionary(e => e.FullUrl, StringComparer.Ordinal);

    public Resource Of(Incoming entry) => Of(entry, twins[entry].Id);

    /// <param name="id">The id here, for an earlier version that goes along only to be cited.</param>
    public Resource Of(Incoming entry, string id)
    {
        var copy = (Resource)entry.Resource.DeepCopy();
        copy.Id = id;
        Origin.Mark(copy, entry.Origin);
        if (LiteralReference.Of(entry.Origin).Base.TrimEnd('/') == fhirBase)
            Origin.Unmark(copy, entry.Origin);
        copy.Meta ??= new Meta();
        (copy.Meta.VersionId, copy.Meta.LastUpdated, copy.Meta.Source) = (null, null, entry.Source);
        foreach (var reference in References.In(copy))
            reference.Reference = Translated(reference.Reference!, entry);
        return copy;
    }

    /// <summary>The full address that a reference stands for: relative means beside the resource that says it (R4, references in Bundles).</summary>
    public static LiteralReference Absolute(string text, Incoming from)
    {
        var to = LiteralReference.Of(text);
        var root = LiteralReference.Of(from.FullUrl).Base;
        return to.IsLocal && root.Length > 0 ? LiteralReference.Of(root + text) : to;
    }

    private string Translated(string text, Incoming from)
    {
        if (text.StartsWith('#'))
            return text;
        var to = Absolute(text, from);
        if (_byUrl.TryGetValue(to.Unversioned, out var target))
        {
            if (to.Version is null)
                return $"{target.Type}/{twins[target].Id}";
            if (versions.TryGetValue(to.Text, out var version))
                return $"{target.Type}/{twins[target].Id}/_history/{version}";
        }

        return to.Base.TrimEnd('/') == fhirBase && fhirBase.Length > 0 ? to.Text[(fhirBase.Length + 1)..] : to.Text;
    }
}
