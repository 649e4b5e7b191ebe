using System.IO.Compression;
using System.Text;
using System.Text.Json;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Parsing;

namespace RehabRecords.Fhir.Definitions;

/// <summary>Writes the file of <see cref="PublishedDefinitions"/>. Runs in the build.</summary>
internal static class PublishedPack
{
    /// <param name="all">Ours first: where an id is taken twice, the first one is served.</param>
    public static void Write(IEnumerable<(Resource Resource, bool Own)> all, string target)
    {
        using var body = new MemoryStream();
        var entries = new List<PublishedDefinition>();
        foreach (var (resource, own) in all.Where(a => a.Resource.Id is { Length: > 0 }).DistinctBy(a => (a.Resource.TypeName, a.Resource.Id)))
        {
            var start = body.Position;
            using (var gzip = new GZipStream(body, CompressionLevel.Fastest, leaveOpen: true))
                gzip.Write(ResourceWriter.Json(resource));
            entries.Add(new PublishedDefinition(
                resource.TypeName, resource.Id!, (resource as IConformanceResource)?.Url, own, DefinitionValues.Of(resource), start, (int)(body.Position - start)));
        }

        var index = JsonSerializer.SerializeToUtf8Bytes(entries, PublishedJson.Default.ListPublishedDefinition);
        var unfinished = target + ".unfinished";
        using (var file = File.Create(unfinished))
        {
            file.Write(Encoding.ASCII.GetBytes($"{index.Length + 1,PackBuilder.HeaderLength - 1}\n"));
            file.Write(index);
            file.WriteByte((byte)'\n');
            body.WriteTo(file);
        }

        File.Move(unfinished, target, overwrite: true);
    }
}
