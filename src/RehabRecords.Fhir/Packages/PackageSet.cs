using Hl7.Fhir.Model;
using Hl7.Fhir.Specification.Source;
using RehabRecords.Fhir.Definitions;

namespace RehabRecords.Fhir.Packages;

/// <summary>What became of one package of the folder.</summary>
/// <param name="Label">name#version</param>
/// <param name="Definitions">Definitions of it that are used.</param>
/// <param name="SnapshotsMade">Profiles and extensions that came without a snapshot.</param>
public sealed record PackageReport(string Label, int Definitions, int SnapshotsMade);

/// <summary>
/// The definitions of all packages of the folder, made fit for use beside the definitions pack: with snapshots, value
/// sets expanded, and without what would replace R4, our own profiles or each other.
/// </summary>
public sealed class PackageSet
{
    private PackageSet(IReadOnlyList<(PackEntry, Resource)> definitions, IReadOnlyList<PackageReport> packages, IReadOnlyList<LeftOut> leftOut)
    {
        Definitions = definitions;
        Packages = packages;
        LeftOut = leftOut;
    }

    public static PackageSet Empty { get; } = new([], [], []);

    public IReadOnlyList<PackageReport> Packages { get; }

    /// <summary>Definitions that are not used, each with the reason.</summary>
    public IReadOnlyList<LeftOut> LeftOut { get; }

    internal IReadOnlyList<(PackEntry Entry, Resource Resource)> Definitions { get; }

    /// <summary>Reads every .tgz file of the folder. One thread does all of it: making snapshots is not safe for more.</summary>
    /// <exception cref="PackageUnusableException">There is no such folder, or a package of it cannot be used at all.</exception>
    internal static PackageSet Load(string folder, DefinitionsPack pack, PackageLimits? limits = null)
    {
        limits ??= PackageLimits.Default;
        if (!Directory.Exists(folder))
            throw new PackageUnusableException($"There is no packages folder {Path.GetFullPath(folder)}. Make it, or leave the setting PackagesFolder out.");
        var files = Directory.EnumerateFiles(folder, "*.tgz").Order(StringComparer.Ordinal).ToList();
        if (files.Count > limits.MaxPackages)
            throw new PackageUnusableException($"The packages folder {folder} holds {files.Count} packages; at most {limits.MaxPackages} are read.");
        var packages = new List<FhirPackage>();
        foreach (var file in files)
        {
            if (new FileInfo(file).Length is var length && length > limits.MaxFileBytes)
                throw new PackageUnusableException($"The package {file} has {length} bytes; at most {limits.MaxFileBytes} are read.");
            packages.Add(FhirPackage.Read(file, File.ReadAllBytes(file), limits));
        }

        return Of(packages, pack);
    }

    internal static PackageSet Of(IReadOnlyList<FhirPackage> packages, DefinitionsPack pack)
    {
        foreach (var twins in packages.GroupBy(p => p.Label, StringComparer.OrdinalIgnoreCase).Where(g => g.Count() > 1))
            throw new PackageUnusableException($"The package {twins.Key} is in {string.Join(" and in ", twins.Select(p => p.File))}. Keep one of them.");
        var leftOut = packages.SelectMany(p => p.LeftOut).ToList();
        var sources = WithoutConflicts(packages, pack, leftOut);
        PackageCycles.LeaveOut(sources, leftOut);
        var snapshots = new PackageSnapshots(sources, pack, leftOut);
        snapshots.Make();
        snapshots.LeaveOutWhatNeedsMissing();

        var resolver = new PackageResolver(sources.Select(s => s.Definition), pack);
        PackBuilder.ExpandValueSets(sources.Select(s => s.Definition).OfType<ValueSet>(), resolver);
        var entries = new List<(PackEntry, Resource)>();
        foreach (var (package, definition) in sources)
        {
            var resource = (Resource)definition;
            Slimming.Slim(resource, own: false);
            entries.Add((PackBuilder.Entry(resource, own: false, 0, 0) with { Package = package.Label }, resource));
        }

        return new PackageSet(
            entries, [.. packages.Select(p => new PackageReport(p.Label, sources.Count(s => s.Package == p), snapshots.Made.Count(m => m == p)))], leftOut);
    }

    private static List<PackageDefinition> WithoutConflicts(IReadOnlyList<FhirPackage> packages, DefinitionsPack pack, List<LeftOut> leftOut)
    {
        var taken = new Dictionary<(string, string?), FhirPackage>();
        var kept = new List<PackageDefinition>();
        foreach (var package in packages)
        {
            foreach (var definition in package.Definitions)
            {
                var version = (definition as IVersionableConformanceResource)?.Version;
                if (pack.EntryOf(definition.Url!) is { } here)
                {
                    leftOut.Add(new(package.Label, definition.Url!, here.Own
                        ? "the service has its own definition of that address."
                        : "R4 itself defines it, and a package does not replace what R4 says."));
                }
                else if (!taken.TryAdd((definition.Url!, version), package))
                {
                    leftOut.Add(new(package.Label, definition.Url!, $"the same version of it comes from {taken[(definition.Url!, version)].Label}."));
                }
                else
                {
                    kept.Add(new(package, definition));
                }
            }
        }

        return kept;
    }
}

/// <summary>A definition and the package it comes from.</summary>
internal sealed record PackageDefinition(FhirPackage Package, IConformanceResource Definition);

/// <summary>Finds definitions among those of the packages, else in the pack.</summary>
internal sealed class PackageResolver(IEnumerable<IConformanceResource> definitions, DefinitionsPack pack) : IAsyncResourceResolver
{
    private readonly ILookup<string, IConformanceResource> _byUrl = definitions.ToLookup(d => d.Url!, StringComparer.Ordinal);

    public Resource? Find(string canonical)
    {
        var (url, version) = DefinitionsPack.Split(canonical);
        var found = _byUrl[url].Where(d => version is null || VersionOf(d) is not { } has || has == version)
            .OrderByDescending(VersionOf, VersionOrder.Instance).FirstOrDefault();
        return (Resource?)found ?? pack.Find(canonical);
    }

    public Task<Resource?> ResolveByUriAsync(string uri) => Task.FromResult(Find(uri));

    public Task<Resource?> ResolveByCanonicalUriAsync(string uri) => Task.FromResult(Find(uri));

    public Task<ResolverResult> TryResolveByUriAsync(string uri) => TryResolveByCanonicalUriAsync(uri);

    public Task<ResolverResult> TryResolveByCanonicalUriAsync(string uri) =>
        Task.FromResult(Find(uri) is { } found ? new ResolverResult(found) : new ResolverResult(ResolverException.NotFound()));

    private static string? VersionOf(IConformanceResource definition) => (definition as IVersionableConformanceResource)?.Version;
}
