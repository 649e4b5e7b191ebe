using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Validation;

/// <summary>What became of a reference inside a Bundle.</summary>
internal enum Resolution
{
    Found,
    NotInBundle,

    /// <summary>Found, but not in the version named.</summary>
    OtherVersion,

    /// <summary>A relative reference in an entry whose fullUrl is no server address: R4 gives it no meaning.</summary>
    NoMeaning,
}

/// <summary>The entries of a Bundle by their fullUrl, and how R4 resolves a reference among them.</summary>
internal sealed class BundleEntries
{
    private readonly ILookup<string, Bundle.EntryComponent> _byUrl;

    public BundleEntries(Bundle bundle)
    {
        Bundle = bundle;
        _byUrl = bundle.Entry.Where(e => e.FullUrl is not null && e.Resource is not null).ToLookup(e => e.FullUrl!, StringComparer.Ordinal);
    }

    public Bundle Bundle { get; }

    public (Resolution Resolution, Resource? Target) Resolve(LiteralReference reference, string? fullUrlOfEntry)
    {
        string sought;
        if (reference.IsLocal)
        {
            var self = fullUrlOfEntry is null ? null : LiteralReference.Of(fullUrlOfEntry);
            if (self?.Type is null)
                return (Resolution.NoMeaning, null);
            sought = self.Base + reference.Unversioned;
        }
        else
        {
            sought = reference.Unversioned;
        }

        var found = _byUrl[sought].Select(e => e.Resource!).ToList();
        if (found.Count == 0)
            return (Resolution.NotInBundle, null);
        if (reference.Version is null)
            return (Resolution.Found, found[0]);
        var right = found.FirstOrDefault(r => r.Meta?.VersionId == reference.Version);
        return right is null ? (Resolution.OtherVersion, found[0]) : (Resolution.Found, right);
    }

    /// <summary>For a relative reference: the entry known by a urn:uuid of the same id but of another type, if there is one.</summary>
    public Resource? OtherTypeOfSameUuid(LiteralReference reference) =>
        reference.IsLocal ? _byUrl["urn:uuid:" + reference.Id].Select(e => e.Resource).FirstOrDefault(r => r!.TypeName != reference.Type) : null;

    /// <summary>The fullUrl of the entry that an element lies in.</summary>
    public static string? FullUrlOf(Element element)
    {
        for (var at = element; at is not null; at = at.Parent)
            if (at.Value is Bundle.EntryComponent entry)
                return entry.FullUrl;
        return null;
    }
}
