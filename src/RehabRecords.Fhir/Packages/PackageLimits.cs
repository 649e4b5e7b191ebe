namespace RehabRecords.Fhir.Packages;

/// <summary>How much a package may ask for. The largest that is published for R4, the specification itself, keeps well within.</summary>
public sealed record PackageLimits
{
    public static PackageLimits Default { get; } = new();

    /// <summary>Packages in the folder.</summary>
    public int MaxPackages { get; init; } = 50;

    /// <summary>Bytes of the .tgz file.</summary>
    public long MaxFileBytes { get; init; } = 64L << 20;

    /// <summary>Bytes of all that is in it, unpacked.</summary>
    public int MaxUnpackedBytes { get; init; } = 256 << 20;

    /// <summary>Times by which unpacking may make it larger; definitions as text shrink to about a twentieth.</summary>
    public int MaxRatio { get; init; } = 100;

    /// <summary>Entries of the archive, whether they are read or not.</summary>
    public int MaxEntries { get; init; } = 20_000;

    /// <summary>Bytes of one file of the archive.</summary>
    public int MaxEntryBytes { get; init; } = 32 << 20;

    /// <summary>Levels of an element inside its resource: the deepest of R4 has nine.</summary>
    public int MaxPathDepth { get; init; } = 40;
}

/// <summary>A package cannot be used at all, and the service does not start with it. The message names the file and the remedy.</summary>
public sealed class PackageUnusableException(string message, Exception? cause = null) : Exception(message, cause);
