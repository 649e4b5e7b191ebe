using System.Runtime.CompilerServices;
using System.Text.Json;
using Hl7.Fhir.Model;
using RehabRecords.Access;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Rest.Operations;

/// <summary>
/// Who and what a person's record refers to without belonging to it: clinicians, organisations, the software that
/// drafts. Each is given once; a record has few of them, however long it is.
/// </summary>
/// <param name="only">Types that are asked for; none means all.</param>
internal sealed class Surroundings(RecordStore store, ResourceRegistry registry, IReadOnlyList<string> only)
{
    private static readonly string[] Shared = ["Practitioner", "PractitionerRole", "Organization", "Device"];

    private readonly HashSet<string> _sent = new(StringComparer.Ordinal);
    private readonly HashSet<string> _known = new(StringComparer.Ordinal);
    private readonly Queue<string> _open = new();

    public void Saw(RecordVersion version)
    {
        if (Shared.Contains(version.Type))
            _sent.Add(version.Address);
        var reader = new Utf8JsonReader(version.Json.Span);
        while (reader.Read())
        {
            if (reader.TokenType != JsonTokenType.PropertyName || !reader.ValueTextEquals("reference"u8) || !reader.Read() || reader.TokenType != JsonTokenType.String)
                continue;
            var parts = reader.GetString()!.Split('/');
            if (parts.Length is 2 or 4 && Shared.Contains(parts[0]) && registry.Has(parts[0]) && (only.Count == 0 || only.Contains(parts[0])) && _known.Add($"{parts[0]}/{parts[1]}"))
                _open.Enqueue($"{parts[0]}/{parts[1]}");
        }
    }

    public async IAsyncEnumerable<RecordVersion> ReadAsync(Caller caller, [EnumeratorCancellation] CancellationToken ct)
    {
        while (_open.TryDequeue(out var address))
        {
            var parts = address.Split('/');
            if (!_sent.Add(address) || !caller.May(parts[0], 'r'))
                continue;
            // A device in use by somebody is part of that person's record, not of another's surroundings.
            if (await store.ReadAsync(parts[0], parts[1], ct) is not { Deleted: false } found
                || (found.Type == "Device" && ResourceReader.Trusted<Device>(found.Json).Patient is not null))
                continue;
            Saw(found);
            yield return found;
        }
    }
}
