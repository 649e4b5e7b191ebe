using System.Formats.Tar;
using System.IO.Compression;
using System.Text;
using RehabRecords.Fhir.Parsing;

namespace RehabRecords.Tests.Fhir.Packages;

/// <summary>Makes FHIR packages, sound and otherwise.</summary>
internal static class PackageFiles
{
    public const string Manifest = """{"name":"example.hand.clinic","version":"1.0.0","fhirVersions":["4.0.1"]}""";

    /// <summary>A package of these files of its folder "package", and a manifest unless one is among them.</summary>
    public static byte[] Tgz(params (string Name, string Json)[] files) => Tgz(Manifest, files);

    public static byte[] Tgz(string manifest, IEnumerable<(string Name, string Json)> files) =>
        Archive([Entry("package/package.json", manifest), .. files.Select(f => Entry("package/" + f.Name, f.Json))]);

    public static TarEntry Entry(string name, string content, TarEntryType type = TarEntryType.RegularFile) =>
        new PaxTarEntry(type, name) { DataStream = new MemoryStream(Encoding.UTF8.GetBytes(content)) };

    public static byte[] Archive(IEnumerable<TarEntry> entries)
    {
        using var tar = new MemoryStream();
        using (var writer = new TarWriter(tar, leaveOpen: true))
            foreach (var entry in entries)
                writer.WriteEntry(entry);
        return Gzip(tar.ToArray());
    }

    public static byte[] Gzip(byte[] bytes)
    {
        using var packed = new MemoryStream();
        using (var gzip = new GZipStream(packed, CompressionLevel.Optimal, leaveOpen: true))
            gzip.Write(bytes);
        return packed.ToArray();
    }

    /// <summary>
    /// A package of the definitions in a folder under ig in REHAB_SHARED, or in ../shared beside the checkout; null when it
    /// is not there. Such profiles are read where they lie and are no part of the project.
    /// </summary>
    public static byte[]? Published(string folder)
    {
        var shared = Environment.GetEnvironmentVariable("REHAB_SHARED") ?? Path.Combine(Repository.Root, "..", "shared");
        var path = Path.Combine(shared, "ig", folder);
        if (!Directory.Exists(path))
            return null;
        var files = Directory.EnumerateFiles(path, "*.json").Select(f => (Path.GetFileName(f), File.ReadAllText(f)))
            .Concat(Directory.EnumerateFiles(path, "*.xml").Select(f =>
                (Path.GetFileNameWithoutExtension(f) + ".json", Encoding.UTF8.GetString(ResourceWriter.Json(ResourceReader.Read(File.ReadAllBytes(f), FhirFormat.Xml))))));
        return Tgz($$"""{"name":"published.{{folder}}","version":"1.0.0","fhirVersions":["4.0.1"]}""", files);
    }

    /// <summary>Puts packages into a folder of their own.</summary>
    public static string Folder(params (string File, byte[] Tgz)[] packages)
    {
        var folder = Directory.CreateTempSubdirectory("packages").FullName;
        foreach (var (file, tgz) in packages)
            File.WriteAllBytes(Path.Combine(folder, file), tgz);
        return folder;
    }
}
