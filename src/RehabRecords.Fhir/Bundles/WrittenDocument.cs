using System.Text;
using System.Text.Encodings.Web;
using System.Text.Json;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Fhir.Bundles;

/// <summary>
/// The document of a Composition as <see cref="DocumentBuilder"/> makes it, byte for byte, but from the record of one person and written
/// out entry by entry: what is kept in memory is addresses. For exports, in which documents of any size follow one another.
/// </summary>
public static class WrittenDocument
{
    private sealed record Held(string Type, string Id, int Version, DateTimeOffset LastUpdated)
    {
        public string Address => $"{Type}/{Id}";

        public string VersionedAddress => $"{Type}/{Id}/_history/{Version}";
    }

    /// <summary>What makes it impossible to write the document; null when nothing does.</summary>
    public static string? Gap(PersonRecord record, RecordVersion composition)
    {
        try
        {
            Collect(record, composition);
            return null;
        }
        catch (RefusedException refused)
        {
            return refused.Message;
        }
    }

    /// <exception cref="RefusedException">Something that the document refers to is not in the record.</exception>
    public static async Task WriteAsync(PersonRecord record, RecordVersion composition, Uri publicUrl, Stream to, CancellationToken ct)
    {
        var root = publicUrl.AbsoluteUri.TrimEnd('/') + "/fhir/";
        var held = Collect(record, composition);
        var ordered = held.Take(1).Concat(held.Skip(1).OrderBy(r => r.Type, StringComparer.Ordinal)
            .ThenBy(r => r.Id, StringComparer.Ordinal).ThenBy(r => r.Version)).ToList();
        var head = ResourceWriter.Json(DocumentBuilder.Head(root, ordered.ConvertAll(r => r.VersionedAddress), ordered.Max(r => r.LastUpdated)));
        await to.WriteAsync(head.AsMemory(0, head.Length - 1), ct);
        await to.WriteAsync(",\"entry\":["u8.ToArray(), ct);
        for (var i = 0; i < ordered.Count; i++)
        {
            var url = JsonEncodedText.Encode(root + ordered[i].Address, JavaScriptEncoder.UnsafeRelaxedJsonEscaping);
            await to.WriteAsync(Encoding.UTF8.GetBytes($"{(i == 0 ? "" : ",")}{{\"fullUrl\":\"{url}\",\"resource\":"), ct);
            await to.WriteAsync(record.Read(ordered[i].Type, ordered[i].Id, ordered[i].Version)!.Json, ct);
            await to.WriteAsync("}"u8.ToArray(), ct);
        }

        await to.WriteAsync("]}"u8.ToArray(), ct);
    }

    /// <summary>The same walk as <see cref="DocumentBuilder"/>: breadth first, exact versions before open ones.</summary>
    private static List<Held> Collect(PersonRecord record, RecordVersion composition)
    {
        var held = new List<Held>();
        var known = new HashSet<string>(StringComparer.Ordinal);
        var heldOpen = new HashSet<string>(StringComparer.Ordinal);
        var exact = new Queue<(Citation Cited, string By)>();
        var open = new Queue<(Citation Cited, string By)>();
        Hold(composition);
        while (exact.TryDequeue(out var next) || open.TryDequeue(out next))
        {
            var (cited, by) = next;
            if (cited.Version is null ? heldOpen.Contains(cited.Address) : known.Contains(cited.VersionedAddress))
                continue;
            if (record.Read(cited.Type, cited.Id, cited.Version) is not { Deleted: false } found)
                throw new RefusedException(Refusal.Invalid, OperationOutcome.IssueType.NotFound,
                    $"{by} refers to {cited}, which is not in the record; a document must hold everything it refers to.");
            if (known.Contains(found.VersionedAddress))
                continue;
            if (held.Count == DocumentBuilder.MostEntries)
                throw new RefusedException(Refusal.TooLarge, OperationOutcome.IssueType.TooCostly, $"The document would hold more than {DocumentBuilder.MostEntries} resources.");
            Hold(found);
        }

        return held;

        void Hold(RecordVersion version)
        {
            known.Add(version.VersionedAddress);
            heldOpen.Add(version.Address);
            held.Add(new Held(version.Type, version.Id, version.Version, version.LastUpdated));
            ReferenceScan.Read(version.Json.Span, found =>
            {
                if (!found.IsCanonical && Citation.Of(found.Text) is { Type: not "Binary" } cited)
                    (cited.Version is null ? open : exact).Enqueue((cited, version.VersionedAddress));
            });
        }
    }
}
