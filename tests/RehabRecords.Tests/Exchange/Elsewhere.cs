using Hl7.Fhir.Model;
using RehabRecords.Exchange;

namespace RehabRecords.Tests.Exchange;

/// <summary>What a record elsewhere would send that had taken in a hand-over of ours.</summary>
internal static class Elsewhere
{
    public static Bundle Of(Bundle ours, string from, string to, Action<Resource> change)
    {
        var theirs = (Bundle)ours.DeepCopy();
        foreach (var entry in theirs.Entry)
        {
            if (entry.FullUrl!.StartsWith(from, StringComparison.Ordinal))
            {
                entry.Resource!.Meta!.Source = $"{entry.FullUrl}/_history/{entry.Resource.Meta.VersionId}";
                entry.FullUrl = to + entry.FullUrl[from.Length..];
            }

            foreach (var reference in References.In(entry.Resource!))
                reference.Reference = reference.Reference!.Replace(from, to, StringComparison.Ordinal);
            change(entry.Resource!);
        }

        theirs.Identifier!.Value = $"urn:uuid:{Guid.NewGuid():D}";
        return theirs;
    }
}
