using Hl7.Fhir.Model;

namespace RehabRecords.Progress;

/// <summary>
/// A changed prescription is a new ServiceRequest that replaces the old one. For the calculations both are versions of one
/// prescription, known by the id of the first.
/// </summary>
internal static class PrescriptionVersions
{
    /// <summary>The id of the first version, by the id of every version.</summary>
    public static IReadOnlyDictionary<string, string> FirstOf(IReadOnlyCollection<ServiceRequest> requests)
    {
        var replaced = requests.ToDictionary(r => r.Identity(), r => r.Replaces.Select(p => p.IdOf("ServiceRequest")).FirstOrDefault(id => id is not null));
        return replaced.Keys.ToDictionary(id => id, id =>
        {
            // What replaces itself, by whatever way, has no first version; it then stands for itself.
            var passed = new HashSet<string> { id };
            var first = id;
            while (replaced[first] is { } earlier && replaced.ContainsKey(earlier))
            {
                if (!passed.Add(earlier))
                    return id;
                first = earlier;
            }
            return first;
        });
    }
}
