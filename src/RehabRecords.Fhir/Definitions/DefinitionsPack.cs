using System.Collections.Concurrent;
using System.Collections.Frozen;
using System.Text.Json;
using Firely.Fhir.Validation.Compilation;
using Hl7.Fhir.Model;
using Hl7.Fhir.Specification.Source;
using RehabRecords.Fhir.Packages;
using RehabRecords.Fhir.Parsing;

namespace RehabRecords.Fhir.Definitions;

/// <summary>
/// The definitions of R4 and our own profiles, in one file beside the program that is made at build time. Only the index
/// is read at start; a definition is parsed when it is first asked for and then kept, because reading the whole
/// specification takes seconds and hundreds of megabytes. A parsed definition is shared by all threads and never changed.
/// </summary>
public sealed class DefinitionsPack : IAsyncResourceResolver, IDisposable
{
    public const string FileName = "definitions.ndjson";

    private readonly Microsoft.Win32.SafeHandles.SafeFileHandle _file;
    private readonly long _firstByte;
    private readonly ConcurrentDictionary<PackEntry, Lazy<Resource>> _parsed = new(ReferenceEqualityComparer.Instance);

    // More than one under the same address only from packages, the newest first.
    private readonly FrozenDictionary<string, PackEntry[]> _byUrl;

    private DefinitionsPack(Microsoft.Win32.SafeHandles.SafeFileHandle file, long firstByte, IReadOnlyList<PackEntry> entries, PackageSet packages)
    {
        _file = file;
        _firstByte = firstByte;
        Packages = packages;
        Entries = [.. entries.DistinctBy(e => e.Url), .. packages.Definitions.Select(d => d.Entry)];
        _byUrl = Entries.GroupBy(e => e.Url, StringComparer.Ordinal)
            .ToFrozenDictionary(g => g.Key, g => g.OrderByDescending(e => e.Version, VersionOrder.Instance).ToArray(), StringComparer.Ordinal);
        foreach (var (entry, resource) in packages.Definitions)
            _parsed[entry] = new Lazy<Resource>(resource.WithCorrections()!);
    }

    /// <summary>What the pack holds, without parsing any of it.</summary>
    public IReadOnlyList<PackEntry> Entries { get; }

    /// <summary>The packages whose definitions are here besides.</summary>
    public PackageSet Packages { get; }

    /// <summary>Opens the pack beside the program, or the one named, and adds the packages of a folder.</summary>
    /// <exception cref="FileNotFoundException">There is no pack at that place.</exception>
    /// <exception cref="InvalidDataException">The file is not a pack, or of another format.</exception>
    /// <exception cref="PackageUnusableException">A package of the folder cannot be used, or there is no such folder.</exception>
    public static DefinitionsPack Open(string? path = null, string? packagesFolder = null)
    {
        path ??= Path.Combine(AppContext.BaseDirectory, FileName);
        if (!File.Exists(path))
            throw new FileNotFoundException($"The definitions pack {path} is missing. It is made by building src/RehabRecords; build again.", path);
        var file = File.OpenHandle(path, FileMode.Open, FileAccess.Read, FileShare.Read, FileOptions.RandomAccess);
        try
        {
            var (index, firstByte) = ReadIndex(file, path);
            var pack = new DefinitionsPack(file, firstByte, index.Entries, PackageSet.Empty);
            return packagesFolder is null ? pack : pack.With(PackageSet.Load(packagesFolder, pack));
        }
        catch
        {
            file.Dispose();
            throw;
        }
    }

    /// <summary>The definition with this canonical (with or without version), or null.</summary>
    public Resource? Find(string canonical) => EntryOf(canonical) is { } entry ? Find(entry) : null;

    /// <summary>The definition that lies there.</summary>
    internal Resource Find(PackEntry entry)
    {
        var parsed = _parsed.GetOrAdd(entry, static (e, pack) => new Lazy<Resource>(() => pack.Parse(e)), this);
        try
        {
            return parsed.Value;
        }
        catch (IOException)
        {
            // Read again by whoever asks next.
            _parsed.TryRemove(new(entry, parsed));
            throw;
        }
    }

    public T? Find<T>(string canonical)
        where T : Resource => Find(canonical) as T;

    /// <summary>Where the definition lies, without parsing it; null if the pack has none of that canonical and version.</summary>
    public PackEntry? EntryOf(string canonical)
    {
        var (url, version) = Split(canonical);
        if (!_byUrl.TryGetValue(url, out var entries))
            return null;
        return version is null ? entries[0] : Array.Find(entries, e => e.Version is null || e.Version == version);
    }

    /// <summary>The address and the version of a canonical, without its anchor.</summary>
    public static (string Url, string? Version) Split(string canonical)
    {
        ArgumentNullException.ThrowIfNull(canonical);
        var anchor = canonical.IndexOf('#', StringComparison.Ordinal);
        var bare = anchor < 0 ? canonical : canonical[..anchor];
        var bar = bare.IndexOf('|', StringComparison.Ordinal);
        return bar < 0 ? (bare, null) : (bare[..bar], bare[(bar + 1)..]);
    }

    /// <summary>This pack with the definitions of packages besides.</summary>
    internal DefinitionsPack With(PackageSet packages) => new(_file, _firstByte, [.. Entries.Where(e => e.Package is null)], packages);

    /// <summary>What to tell who names a profile that is not here.</summary>
    public string Unknown(string profile)
    {
        var (url, _) = Split(profile);
        if (EntryOf(url) is { Type: "StructureDefinition", Version: { } version })
            return $"The profile {profile} is not known here in that version, but in version {version}.";
        return Packages.LeftOut.FirstOrDefault(l => l.Url == url) is { } left
            ? $"The profile {profile} of package {left.Package} is not used here: {left.Reason}"
            : $"The profile {profile} is not known here. The known ones are listed in /fhir/metadata.";
    }

    /// <summary>The definition of a base type of R4, such as Patient or Timing.</summary>
    public StructureDefinition? TypeDefinition(string type) => Find<StructureDefinition>(CoreTypeUrl(type));

    /// <summary>Our own profiles, optionally only those of one resource type.</summary>
    public IEnumerable<PackEntry> OwnProfiles(string? type = null) =>
        Entries.Where(e => e is { Own: true, Type: "StructureDefinition", Kind: "resource" } && (type is null || e.Of == type));

    /// <summary>Profiles of packages, of resources or of one type of them.</summary>
    public IEnumerable<PackEntry> PackageProfiles(string? type = null) =>
        Entries.Where(e => e is { Package: not null, Type: "StructureDefinition", Kind: "resource" } && (type is null || e.Of == type));

    /// <summary>The official search parameters of R4. Parses all of them: read once and keep.</summary>
    public IEnumerable<SearchParameter> SearchParameters() => OfType<SearchParameter>("SearchParameter");

    /// <summary>Those that any of the types has. The others, most of them, are not parsed.</summary>
    public IEnumerable<SearchParameter> SearchParameters(IReadOnlyCollection<string> types) =>
        from entry in Entries
        where entry.Type == "SearchParameter" && (entry.Of is not { } bases || bases.Split(' ').Any(b => b == "Resource" || types.Contains(b)))
        select (SearchParameter)Find(entry);

    public IEnumerable<CompartmentDefinition> Compartments() => OfType<CompartmentDefinition>("CompartmentDefinition");

    public static string CoreTypeUrl(string type) => "http://hl7.org/fhir/StructureDefinition/" + type;

    public System.Threading.Tasks.Task<Resource?> ResolveByUriAsync(string uri) => Task.FromResult(Find(uri));

    public System.Threading.Tasks.Task<Resource?> ResolveByCanonicalUriAsync(string uri) => Task.FromResult(Find(uri));

    public System.Threading.Tasks.Task<ResolverResult> TryResolveByUriAsync(string uri) => TryResolveByCanonicalUriAsync(uri);

    public System.Threading.Tasks.Task<ResolverResult> TryResolveByCanonicalUriAsync(string uri) =>
        Task.FromResult(Find(uri) is { } found ? new ResolverResult(found) : new ResolverResult(ResolverException.NotFound()));

    public void Dispose() => _file.Dispose();

    private IEnumerable<T> OfType<T>(string type)
        where T : Resource => Entries.Where(e => e.Type == type).Select(e => Find<T>(e.Url)).OfType<T>();

    private Resource Parse(PackEntry entry)
    {
        var bytes = new byte[entry.Length];
        ReadFully(_file, bytes, _firstByte + entry.Offset);
        // What is known to be wrong in R4's own definitions is put right here, once, before anybody else sees them.
        return ResourceReader.Trusted<Resource>(bytes).WithCorrections()!;
    }

    private static (PackIndex Index, long FirstByte) ReadIndex(Microsoft.Win32.SafeHandles.SafeFileHandle file, string path)
    {
        // Eight digits at the very start say how long the index line is, so that it is read in one go.
        var header = new byte[PackBuilder.HeaderLength];
        try
        {
            ReadFully(file, header, 0);
            var length = int.Parse(System.Text.Encoding.ASCII.GetString(header).Trim());
            var line = new byte[length];
            ReadFully(file, line, header.Length);
            var index = JsonSerializer.Deserialize(line, PackIndexJson.Default.PackIndex);
            if (index is not { Format: PackIndex.CurrentFormat })
                throw new InvalidDataException($"{path} is a definitions pack of another format; build again.");
            return (index, header.Length + length);
        }
        catch (Exception e) when (e is FormatException or JsonException or EndOfStreamException)
        {
            throw new InvalidDataException($"{path} is not a definitions pack; build again.", e);
        }
    }

    private static void ReadFully(Microsoft.Win32.SafeHandles.SafeFileHandle file, Span<byte> bytes, long offset)
    {
        while (bytes.Length > 0)
        {
            var read = RandomAccess.Read(file, bytes, offset);
            if (read == 0)
                throw new EndOfStreamException("The definitions pack ends early; build again.");
            bytes = bytes[read..];
            offset += read;
        }
    }
}
