using System.Globalization;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Store;
using RehabRecords.Fhir.Validation;

namespace RehabRecords.Exchange;

/// <summary>
/// Which version here holds what an exact version there held. Evidence is cited by version, and the numbers differ from place
/// to place.
/// </summary>
internal sealed class CitedVersions(RecordStore store, string fhirBase)
{
    public async Task<Dictionary<string, int>> OfAsync(IncomingBundle incoming, IReadOnlyDictionary<Incoming, Twin> twins, CancellationToken ct)
    {
        var latest = incoming.Entries.ToDictionary(e => e.FullUrl, StringComparer.Ordinal);
        var found = new Dictionary<string, int>(StringComparer.Ordinal);
        var plain = new Translation(incoming, twins, fhirBase, found);
        var cited = from entry in incoming.Entries
                    from reference in References.In(entry.Resource)
                    let to = Translation.Absolute(reference.Reference!, entry)
                    where to.Version is not null && latest.ContainsKey(to.Unversioned)
                    select to;
        foreach (var to in cited.DistinctBy(c => c.Text).ToList())
        {
            var (target, number) = (latest[to.Unversioned], int.Parse(to.Version!, CultureInfo.InvariantCulture));
            var said = target.Version == number ? target : incoming.Earlier.FirstOrDefault(e => e.FullUrl == target.FullUrl && e.Version == number);
            if (await HereAsync(to.Text, said, twins[target], said == target, plain, ct) is { } here)
                found[to.Text] = here;
        }

        return found;
    }

    private async Task<int?> HereAsync(string address, Incoming? said, Twin twin, bool isLatest, Translation plain, CancellationToken ct)
    {
        if (twin.Here is null)
            return isLatest ? twin.Version + 1 : null;
        var history = await VersionsAsync(store, twin, ct);
        // The version that was taken in from exactly there.
        if (history.Where(h => h.Resource.Meta?.Source == address).Select(h => h.Version).DefaultIfEmpty().Min() is > 0 and var taken)
            return taken;
        if (said is null)
            return null;
        var words = WithoutVersions(plain.Of(said, twin.Id));
        // The version that was made here and came back as it was.
        if (OwnVersion(said.Resource, fhirBase) is { } own && history.FirstOrDefault(h => h.Version == own) is { Resource: { } sent } && Content.Same(WithoutVersions(sent), words))
            return own;
        if (Content.Same(WithoutVersions(twin.Here), words))
            return twin.Version;
        return isLatest ? twin.Version + 1 : null;
    }

    /// <summary>The version of ours that it was made from, as it says itself.</summary>
    public static int? OwnVersion(Resource resource, string fhirBase) =>
        LiteralReference.Of(resource.Meta?.Source ?? "") is { Version: { } version } source && source.Base.TrimEnd('/') == fhirBase
        && int.TryParse(version, NumberStyles.None, CultureInfo.InvariantCulture, out var number) ? number : null;

    /// <summary>What there is of it here, the newest first, without deletions.</summary>
    public static async Task<List<(int Version, Resource Resource)>> VersionsAsync(RecordStore store, Twin twin, CancellationToken ct) =>
        [.. (await store.HistoryAsync(twin.Here!.TypeName, twin.Id, ct)).Where(v => !v.Deleted).Select(v => (v.Version, ResourceReader.Trusted<Resource>(v.Json)))];

    private static Resource WithoutVersions(Resource resource)
    {
        var copy = (Resource)resource.DeepCopy();
        foreach (var reference in References.In(copy))
            reference.Reference = LiteralReference.Of(reference.Reference!).Unversioned;
        return copy;
    }
}
