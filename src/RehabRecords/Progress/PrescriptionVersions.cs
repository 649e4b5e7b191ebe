using Hl7.Fhir.Model;
using RehabRecords.Terms;

namespace RehabRecords.Progress;

/// <summary>
/// A changed prescription is a new ServiceRequest that replaces the old one. For the calculations both are versions of one
/// prescription, known by the id of the first.
/// </summary>
internal static class PrescriptionVersions
{
    /// <summary>
    /// The id of the first version, by the id of every version. Where two teams prescribed the same exercise on the same days and one of
    /// the two was then chosen, the other is a version of it too: what was practised must not be asked for twice.
    /// </summary>
    public static IReadOnlyDictionary<string, string> FirstOf(IReadOnlyCollection<ServiceRequest> requests)
    {
        var first = Chains(requests);
        foreach (var ended in requests.Where(r => r.Status == RequestStatus.Revoked))
            if (requests.FirstOrDefault(going => first[going.Identity()] != first[ended.Identity()] && Overtook(going, ended) && IsSameExercise(going, ended)) is { } chosen)
                first[ended.Identity()] = first[chosen.Identity()];
        return first;
    }

    /// <summary>
    /// A prescription that was not chosen holds on the days on which it was practised, and the one that was chosen holds again from the day
    /// after: those versions, each with the first day on which it holds again.
    /// </summary>
    public static IEnumerable<(ServiceRequest Request, DateOnly From)> HoldAgain(IReadOnlyCollection<ServiceRequest> requests, IReadOnlyDictionary<string, string> firstOf) =>
        from ended in requests
        where ended.Status == RequestStatus.Revoked
        from going in requests
        where firstOf[going.Identity()] == firstOf[ended.Identity()] && Overtook(going, ended) && (Start(going) ?? DateOnly.MinValue) <= (Start(ended) ?? DateOnly.MinValue)
        select (going, End(ended)!.Value.AddDays(1));

    private static bool Overtook(ServiceRequest going, ServiceRequest ended) =>
        going.Status == RequestStatus.Active && End(ended) is { } last && (Start(going) ?? DateOnly.MinValue) <= last && (End(going) ?? DateOnly.MaxValue) > last;

    private static bool IsSameExercise(ServiceRequest one, ServiceRequest other) =>
        one.Code.CodeIn(Systems.Exercise) is { } exercise && exercise == other.Code.CodeIn(Systems.Exercise)
        && Sides.Of(one.BodySite.FirstOrDefault()) == Sides.Of(other.BodySite.FirstOrDefault());

    private static DateOnly? Start(ServiceRequest request) => Addresses.Day(Bounds(request)?.Start);

    private static DateOnly? End(ServiceRequest request) => Addresses.Day(Bounds(request)?.End);

    private static Period? Bounds(ServiceRequest request) => (request.Occurrence as Timing)?.Repeat?.Bounds as Period;

    private static Dictionary<string, string> Chains(IReadOnlyCollection<ServiceRequest> requests)
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
