using System.IO.Compression;
using System.Text;
using System.Text.Json;
using System.Text.Json.Serialization;

namespace RehabRecords.Fhir.Definitions;

/// <summary>One definition as it is served: by what it can be found, and where its bytes lie.</summary>
/// <param name="Url">Canonical address; null for a NamingSystem, which has none in R4.</param>
/// <param name="Own">True when it comes from the profiles folder.</param>
/// <param name="Values">Values by the code of the search parameter that finds them.</param>
/// <param name="Offset">First byte after the index line.</param>
/// <param name="Length">Compressed bytes.</param>
public sealed record PublishedDefinition(
    string Type, string Id, string? Url, bool Own, IReadOnlyDictionary<string, string[]> Values, long Offset, int Length);

/// <summary>
/// The definitions as they were published, to be read by others. The pack that the validator uses is lean, so that it is
/// small in memory; what is served must be whole. Nothing is read before the first request for a definition.
/// </summary>
public sealed class PublishedDefinitions(string path)
{
    public const string FileName = "definitions.published";

    private readonly Lazy<(IReadOnlyDictionary<string, IReadOnlyList<PublishedDefinition>> ByType, long FirstByte)> _index = new(() => ReadIndex(path));

    /// <summary>Beside the program, where the build puts it.</summary>
    public static PublishedDefinitions BesideTheProgram() => new(Path.Combine(AppContext.BaseDirectory, FileName));

    /// <summary>All definitions of a type, ours first, then by address.</summary>
    public IReadOnlyList<PublishedDefinition> OfType(string type) => _index.Value.ByType.GetValueOrDefault(type) ?? [];

    public PublishedDefinition? Find(string type, string id) => OfType(type).FirstOrDefault(d => d.Id == id);

    /// <summary>The definition as FHIR JSON.</summary>
    public ReadOnlyMemory<byte> Read(PublishedDefinition definition)
    {
        ArgumentNullException.ThrowIfNull(definition);
        using var file = File.OpenRead(path);
        file.Position = _index.Value.FirstByte + definition.Offset;
        var packed = new byte[definition.Length];
        file.ReadExactly(packed);
        using var unpacked = new MemoryStream();
        using (var gzip = new GZipStream(new MemoryStream(packed), CompressionMode.Decompress))
            gzip.CopyTo(unpacked);
        return unpacked.GetBuffer().AsMemory(0, (int)unpacked.Length);
    }

    private static (IReadOnlyDictionary<string, IReadOnlyList<PublishedDefinition>>, long) ReadIndex(string path)
    {
        if (!File.Exists(path))
            throw new FileNotFoundException($"The published definitions {path} are missing. They are made by building src/RehabRecords; build again.", path);
        using var file = File.OpenRead(path);
        var header = new byte[PackBuilder.HeaderLength];
        file.ReadExactly(header);
        var line = new byte[int.Parse(Encoding.ASCII.GetString(header).Trim())];
        file.ReadExactly(line);
        var all = JsonSerializer.Deserialize(line, PublishedJson.Default.ListPublishedDefinition)
            ?? throw new InvalidDataException($"{path} holds no definitions; build again.");
        return (all.GroupBy(d => d.Type).ToDictionary(
            g => g.Key,
            g => (IReadOnlyList<PublishedDefinition>)[.. g.OrderByDescending(d => d.Own).ThenBy(d => d.Url ?? d.Id, StringComparer.Ordinal)],
            StringComparer.Ordinal), header.Length + line.Length);
    }
}

[JsonSourceGenerationOptions(PropertyNamingPolicy = JsonKnownNamingPolicy.CamelCase)]
[JsonSerializable(typeof(List<PublishedDefinition>))]
internal sealed partial class PublishedJson : JsonSerializerContext;
