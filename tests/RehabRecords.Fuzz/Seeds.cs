using System.Formats.Tar;
using System.IO.Compression;
using System.Text;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Parsing;

namespace RehabRecords.Fuzz;

/// <summary>What to start from: the examples and profiles of the checkout, and the official cases where they are present.</summary>
internal sealed class Seeds
{
    public Seeds(string root)
    {
        var examples = Files(Path.Combine(root, "examples"), "*.json", SearchOption.TopDirectoryOnly).Concat(Files(Path.Combine(root, "examples", "invalid"), "*.json", SearchOption.TopDirectoryOnly))
            .Where(b => b.Length < 40_000).ToList();
        var shared = Environment.GetEnvironmentVariable("REHAB_SHARED") ?? Path.Combine(root, "..", "shared");
        var cases = Path.Combine(shared, "fhir-test-cases");
        HasOfficialCases = Directory.Exists(cases);
        Json = [.. examples, .. Files(cases, "*.json").Where(b => b.Length < 40_000)];
        Xml = [.. examples.Select(AsXml).OfType<byte[]>(), .. Files(cases, "*.xml").Where(b => b.Length < 40_000)];
        Api = [.. Files(Path.Combine(root, "examples", "demo"), "*.json"), .. Files(Path.Combine(root, "examples", "api"), "*.json")];
        Definitions = [.. Files(Path.Combine(root, "profiles"), "*.json").Where(b => b.Length < 40_000)];
        JsonPatches =
        [
            .. Files(Path.Combine(cases, "patch"), "json*.json"),
            Encoding.UTF8.GetBytes("""[{"op":"test","path":"/birthDate","value":"1950-04-03"},{"op":"replace","path":"/name/0/family","value":"x"},{"op":"add","path":"/name/-","value":{"family":"y"}},{"op":"move","from":"/name/0","path":"/name/1"},{"op":"copy","from":"/name/0","path":"/name/-"},{"op":"remove","path":"/name/0"}]"""),
        ];
        FhirPatches =
        [
            Encoding.UTF8.GetBytes("""{"resourceType":"Parameters","parameter":[{"name":"operation","part":[{"name":"type","valueCode":"replace"},{"name":"path","valueString":"Patient.birthDate"},{"name":"value","valueDate":"1950-04-04"}]}]}"""),
            Encoding.UTF8.GetBytes("""{"resourceType":"Parameters","parameter":[{"name":"operation","part":[{"name":"type","valueCode":"insert"},{"name":"path","valueString":"Patient.name"},{"name":"index","valueInteger":0},{"name":"value","valueHumanName":{"family":"x"}}]},{"name":"operation","part":[{"name":"type","valueCode":"move"},{"name":"path","valueString":"Patient.name"},{"name":"source","valueInteger":0},{"name":"destination","valueInteger":1}]},{"name":"operation","part":[{"name":"type","valueCode":"delete"},{"name":"path","valueString":"Patient.name[0]"}]}]}"""),
        ];
        Tar = MakeTar(Definitions.Take(4));
    }

    public bool HasOfficialCases { get; }

    public IReadOnlyList<byte[]> Json { get; }

    public IReadOnlyList<byte[]> Xml { get; }

    /// <summary>Bodies of the trade interface.</summary>
    public IReadOnlyList<byte[]> Api { get; }

    public IReadOnlyList<byte[]> Definitions { get; }

    public IReadOnlyList<byte[]> JsonPatches { get; }

    public IReadOnlyList<byte[]> FhirPatches { get; }

    /// <summary>A package before it is compressed, small.</summary>
    public byte[] Tar { get; }

    public static byte[] MakeTar(IEnumerable<byte[]> definitions)
    {
        using var tar = new MemoryStream();
        using (var writer = new TarWriter(tar, leaveOpen: true))
        {
            Write("package.json", Encoding.UTF8.GetBytes("""{"name":"fuzz.package","version":"1.0.0","fhirVersions":["4.0.1"]}"""));
            foreach (var (definition, i) in definitions.Select((d, i) => (d, i)))
                Write($"{i}.json", definition);

            void Write(string name, byte[] content) => writer.WriteEntry(new PaxTarEntry(TarEntryType.RegularFile, "package/" + name) { DataStream = new MemoryStream(content) });
        }

        return tar.ToArray();
    }

    public static byte[] Gzip(byte[] bytes)
    {
        using var packed = new MemoryStream();
        using (var gzip = new GZipStream(packed, CompressionLevel.Fastest, leaveOpen: true))
            gzip.Write(bytes);
        return packed.ToArray();
    }

    private static IEnumerable<byte[]> Files(string folder, string pattern, SearchOption depth = SearchOption.AllDirectories) =>
        Directory.Exists(folder) ? Directory.EnumerateFiles(folder, pattern, depth).Order(StringComparer.Ordinal).Select(File.ReadAllBytes) : [];

    private static byte[]? AsXml(byte[] json)
    {
        try
        {
            return ResourceWriter.Xml(ResourceReader.Read(json, FhirFormat.Json));
        }
        catch (RefusedException)
        {
            return null;
        }
    }
}
