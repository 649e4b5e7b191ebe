namespace RehabRecords.RecordExport;

/// <summary>What is where in a record zip. A change of it is a new format version, which older importers refuse.</summary>
internal static class RecordZip
{
    public const string Format = "rehab-record";
    public const int FormatVersion = 1;

    public const string MediaType = "application/zip";
    public const string Readme = "readme.txt";
    public const string Order = "order.txt";
    public const string Deletions = "deletions.ndjson";
    public const string Manifest = "manifest.json";
    public const string Seal = "manifest.sha256";
    public const string OwnFolder = "record/";
    public const string ReferredFolder = "referred/";
    public const string DocumentFolder = "documents/";

    /// <summary>True for a path that this format can have: no other is read, so none can lead out of a folder.</summary>
    public static bool IsKnown(string path) =>
        path is Readme or Order or Deletions or Manifest or Seal
        || Split(path) is not null
        || (path.StartsWith(DocumentFolder, StringComparison.Ordinal) && IsName(path[DocumentFolder.Length..], ".json", ".html"));

    /// <summary>Of a file of resources: their type, and whether they are about the person or only referred to; null for any other path.</summary>
    public static (string Type, bool Referred)? Split(string path)
    {
        foreach (var folder in (ReadOnlySpan<string>)[OwnFolder, ReferredFolder])
            if (path.StartsWith(folder, StringComparison.Ordinal) && IsName(path[folder.Length..], ".ndjson"))
                return (path[folder.Length..^".ndjson".Length], folder == ReferredFolder);
        return null;
    }

    public static string PathOf(string type, bool referred) => $"{(referred ? ReferredFolder : OwnFolder)}{type}.ndjson";

    private static bool IsName(string name, params ReadOnlySpan<string> endings)
    {
        foreach (var ending in endings)
            if (name.EndsWith(ending, StringComparison.Ordinal) && name.Length > ending.Length && name.Length <= 150
                && name[..^ending.Length].All(c => char.IsAsciiLetterOrDigit(c) || c is '-' or '_'))
                return true;
        return false;
    }
}
