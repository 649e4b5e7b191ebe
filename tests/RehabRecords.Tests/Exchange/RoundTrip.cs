using System.Text;
using Hl7.Fhir.Model;
using RehabRecords.Exchange;

namespace RehabRecords.Tests.Exchange;

/// <summary>Compares what was sent with what came back, resource by resource. Only what each server sets for itself may differ.</summary>
internal sealed class RoundTrip
{
    private readonly List<(string Type, bool Received, bool Equal)> _rows = [];

    public List<string> Lost { get; } = [];

    public List<string> Different { get; } = [];

    public static RoundTrip Of(Bundle sent, Bundle received, string sentFrom, string receivedFrom)
    {
        var trip = new RoundTrip();
        var there = Latest(received).ToDictionary(e => Key(e.Resource!, e.FullUrl!), e => e.Resource!);
        foreach (var entry in Latest(sent))
        {
            var resource = entry.Resource!;
            var key = Key(resource, entry.FullUrl!);
            // Who may see it is agreed with each organisation by itself.
            if (resource is Consent || (resource is Organization && !there.ContainsKey(key)))
                continue;
            var found = there.GetValueOrDefault(key);
            var equal = found is not null && Plain(resource, sentFrom).IsExactly(Plain(found, receivedFrom));
            trip._rows.Add((resource.TypeName, found is not null, equal));
            if (found is null)
                trip.Lost.Add(key);
            else if (!equal)
                trip.Different.Add($"{key}: {string.Join(", ", Content.Differences(Plain(resource, sentFrom), Plain(found, receivedFrom)))}");
        }

        return trip;
    }

    public override string ToString()
    {
        var text = new StringBuilder("resource type        sent  received  equal\n");
        foreach (var type in _rows.GroupBy(r => r.Type).OrderBy(g => g.Key, StringComparer.Ordinal))
            text.Append($"{type.Key,-20} {type.Count(),4} {type.Count(r => r.Received),9} {type.Count(r => r.Equal),6}\n");
        return text.Append($"{"all",-20} {_rows.Count,4} {_rows.Count(r => r.Received),9} {_rows.Count(r => r.Equal),6}\n").ToString();
    }

    private static IEnumerable<Bundle.EntryComponent> Latest(Bundle bundle) => bundle.Entry
        .Where(e => e.FullUrl!.StartsWith("http", StringComparison.Ordinal))
        .GroupBy(e => e.FullUrl).Select(g => g.OrderByDescending(e => int.Parse(e.Resource!.Meta!.VersionId!)).First());

    private static string Key(Resource resource, string fullUrl) => Origin.Marked(resource) ?? $"{resource.TypeName}/{fullUrl[(fullUrl.LastIndexOf('/') + 1)..]}";

    /// <summary>Without what each server sets; exact versions are numbered by each server too, so a citation is followed to the thing alone.</summary>
    private static Resource Plain(Resource resource, string root)
    {
        var copy = (Resource)resource.DeepCopy();
        (copy.Meta!.VersionId, copy.Meta.LastUpdated, copy.Meta.Source) = (null, null, null);
        if (!copy.Meta.EnumerateElements().Any())
            copy.Meta = null;
        foreach (var reference in References.In(copy))
        {
            var text = reference.Reference!;
            var history = text.IndexOf("/_history/", StringComparison.Ordinal);
            text = history < 0 ? text : text[..history];
            foreach (var known in new[] { root, Teams.HospitalBase, Teams.CommunityBase })
                if (text.StartsWith(known + "/", StringComparison.Ordinal))
                    text = text[(known.Length + 1)..];
            reference.Reference = text;
        }

        return copy;
    }
}
