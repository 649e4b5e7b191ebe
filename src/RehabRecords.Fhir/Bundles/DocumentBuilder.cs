using System.Security.Cryptography;
using System.Text;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Fhir.Bundles;

/// <summary>
/// Assembles a document Bundle: the Composition first, then every resource it refers to, directly or through others,
/// each in the exact version it was cited in. A document with the same content has the same identifier and the same
/// bytes; one with other content never does.
/// </summary>
public sealed class DocumentBuilder(RecordStore store, Uri publicUrl)
{
    /// <summary>A document is meant to be read by a person; one that would hold more than this is a mistake.</summary>
    public const int MostEntries = 20_000;

    private readonly string _root = publicUrl.AbsoluteUri.TrimEnd('/') + "/fhir/";

    /// <exception cref="RefusedException">NotFound or Gone for the Composition; Invalid when something it cites is not in the record.</exception>
    public async Task<Bundle> BuildAsync(string compositionId, int? version = null, CancellationToken ct = default)
    {
        var composition = await ReadAsync(new Citation("Composition", compositionId, version), ct)
            ?? throw new RefusedException(Refusal.NotFound, OperationOutcome.IssueType.NotFound, $"There is no Composition/{compositionId}.");
        if (composition.Deleted)
            throw new RefusedException(Refusal.Gone, OperationOutcome.IssueType.Deleted, $"Composition/{compositionId} was deleted.");
        return Assemble(await CollectAsync(composition, [], ct), []);
    }

    /// <summary>
    /// The document of a Composition that is about to be written, with whatever else is written beside it, each as the
    /// version it will be. The entries are the very objects of the set, so that what the store sets in them is in the
    /// document too.
    /// </summary>
    /// <exception cref="RefusedException">Invalid when something it cites is neither in the set nor in the record.</exception>
    public async Task<Bundle> BuildAsync(WriteSet set, Composition composition, DateTimeOffset now, CancellationToken ct = default)
    {
        ArgumentNullException.ThrowIfNull(set);
        var pending = set.Writes.Where(w => w.Resource is not null)
            .Select(w => new Pending(new RecordVersion(0, w.Type, w.Id, w.FromVersion + 1, false, now, default), w.Resource!)).ToList();
        var first = pending.Find(p => p.Resource == composition) ?? throw new ArgumentException("The Composition is not in the set.", nameof(composition));
        return Assemble(await CollectAsync(first.Version, pending, ct), pending);
    }

    private sealed record Pending(RecordVersion Version, Resource Resource);

    /// <summary>
    /// Walks the references breadth first. Exact versions are taken before open ones: an open reference to something the
    /// document already holds in one version means that version, so the document never disagrees with itself.
    /// </summary>
    private async Task<List<RecordVersion>> CollectAsync(RecordVersion composition, List<Pending> pending, CancellationToken ct)
    {
        var held = new List<RecordVersion> { composition };
        var known = new HashSet<string>(StringComparer.Ordinal) { composition.VersionedAddress };
        var heldOpen = new HashSet<string>(StringComparer.Ordinal) { composition.Address };
        var exact = new Queue<(Citation Cited, string By)>();
        var open = new Queue<(Citation Cited, string By)>();
        Enqueue(composition);

        while (exact.TryDequeue(out var next) || open.TryDequeue(out next))
        {
            var (cited, by) = next;
            if (cited.Version is null ? heldOpen.Contains(cited.Address) : known.Contains(cited.VersionedAddress))
                continue;
            var found = pending.Find(p => cited.Version is null ? p.Version.Address == cited.Address : p.Version.VersionedAddress == cited.VersionedAddress)?.Version
                ?? await ReadAsync(cited, ct);
            if (found is null || found.Deleted)
                throw new RefusedException(Refusal.Invalid, OperationOutcome.IssueType.NotFound,
                    $"{by} refers to {cited}, which is not in the record; a document must hold everything it refers to.");
            if (!known.Add(found.VersionedAddress))
                continue;
            if (held.Count == MostEntries)
                throw new RefusedException(Refusal.TooLarge, OperationOutcome.IssueType.TooCostly,
                    $"The document would hold more than {MostEntries} resources; ask for a note over a shorter time.");
            heldOpen.Add(found.Address);
            held.Add(found);
            Enqueue(found);
        }
        return held;

        void Enqueue(RecordVersion from)
        {
            foreach (var cited in Citations.Of(Parse(from, pending)))
                (cited.Version is null ? open : exact).Enqueue((cited, from.VersionedAddress));
        }
    }

    private Bundle Assemble(List<RecordVersion> held, List<Pending> pending)
    {
        // After the Composition: by type and id, so that the bytes do not depend on the way the references were found.
        var ordered = held.Take(1).Concat(held.Skip(1).OrderBy(r => r.Type, StringComparer.Ordinal)
            .ThenBy(r => r.Id, StringComparer.Ordinal).ThenBy(r => r.Version)).ToList();
        var document = Head(_root, ordered.ConvertAll(r => r.VersionedAddress), ordered.Max(r => r.LastUpdated));
        document.Entry = [.. ordered.Select(r => new Bundle.EntryComponent { FullUrl = _root + r.Address, Resource = Parse(r, pending) })];
        return document;
    }

    /// <summary>A document without its entries.</summary>
    internal static Bundle Head(string root, List<string> versions, DateTimeOffset latest) => new()
    {
        Type = Bundle.BundleType.Document,
        // The R4 page names meta.lastUpdated as the date of a document, its invariant names timestamp: both are given.
        Meta = new Meta { LastUpdated = latest },
        Timestamp = latest,
        Identifier = new Identifier("urn:ietf:rfc:3986", Fingerprint(root, versions)),
    };

    /// <summary>Versions never change, so the list of versions (and the root they are served under) is the content.</summary>
    private static string Fingerprint(string root, List<string> versions)
    {
        var content = new StringBuilder(root).Append('\n').AppendJoin('\n', versions);
        Span<byte> bytes = SHA256.HashData(Encoding.UTF8.GetBytes(content.ToString())).AsSpan(0, 16);
        // RFC 9562 version 8: a UUID whose bits are made by the application's own rule, here a hash.
        bytes[6] = (byte)((bytes[6] & 0x0F) | 0x80);
        bytes[8] = (byte)((bytes[8] & 0x3F) | 0x80);
        return $"urn:uuid:{new Guid(bytes, bigEndian: true):D}";
    }

    private Task<RecordVersion?> ReadAsync(Citation cited, CancellationToken ct) => cited.Version is { } version
        ? store.ReadVersionAsync(cited.Type, cited.Id, version, ct)
        : store.ReadAsync(cited.Type, cited.Id, ct);

    private static Resource Parse(RecordVersion version, List<Pending> pending) =>
        pending.Find(p => p.Version == version)?.Resource ?? ResourceReader.Trusted<Resource>(version.Json);
}
