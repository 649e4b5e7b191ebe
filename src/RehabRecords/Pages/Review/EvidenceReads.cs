using System.Globalization;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Pages.Review;

/// <summary>One thing a statement rests on, to be read.</summary>
/// <param name="Address">Type/id/_history/version.</param>
/// <param name="When">Day and time in words; null for what has none.</param>
public sealed record EvidenceLine(string Address, string? When, string What, string Words);

/// <summary>Turns addresses of evidence into lines.</summary>
internal sealed class EvidenceReads(RecordStore store)
{
    /// <summary>The line of each address; an address whose version is not there is told as such.</summary>
    public async Task<IReadOnlyDictionary<string, EvidenceLine>> OfAsync(IEnumerable<string> addresses, CancellationToken ct)
    {
        var lines = new Dictionary<string, EvidenceLine>(StringComparer.Ordinal);
        foreach (var address in addresses)
            if (!lines.ContainsKey(address))
                lines[address] = await LineAsync(address, ct);
        return lines;
    }

    private async Task<EvidenceLine> LineAsync(string address, CancellationToken ct)
    {
        var found = address.Split('/') is [var type, var id, "_history", var number] && int.TryParse(number, CultureInfo.InvariantCulture, out var version)
            ? await store.ReadVersionAsync(type, id, version, ct) : null;
        if (found is null or { Deleted: true })
            return new EvidenceLine(address, null, address.Split('/')[0], "is not in this record");
        var (when, what, words) = EvidenceWords.Of(ResourceReader.Trusted<Resource>(found.Json));
        return new EvidenceLine(address, when, what, words);
    }
}
