using System.Collections.Concurrent;
using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Search;

/// <summary>
/// "subject.where(resolve() is Patient)" asks only for the type of what is referred to, and the reference names it:
/// nothing needs to be fetched.
/// </summary>
internal static class ReferenceTypes
{
    private static readonly ConcurrentDictionary<string, PocoNode?> _standIns = new(StringComparer.Ordinal);

    public static PocoNode? StandIn(string reference) =>
        Split(reference) is { } parts ? _standIns.GetOrAdd(parts.Type, Make) : null;

    /// <summary>What follows the address of this service, for a resource that is called by the whole of it; else as it was.</summary>
    /// <param name="ownBase">Such as https://clinic.example/fhir; null where it is not known.</param>
    public static string WithoutBase(string address, string? ownBase) =>
        ownBase is not null && address.StartsWith(ownBase + "/", StringComparison.Ordinal) ? address[(ownBase.Length + 1)..] : address;

    /// <summary>Takes "Type/id", "Type/id/_history/3" or an address that ends so apart.</summary>
    public static (string Base, string Type, string Id, string Version)? Split(string reference)
    {
        var parts = reference.Split('/');
        var end = parts.Length;
        var version = "";
        if (end >= 4 && parts[end - 2] == "_history")
        {
            version = parts[end - 1];
            end -= 2;
        }

        if (end < 2 || parts[end - 1].Length == 0 || !ModelInfo.IsKnownResource(parts[end - 2]))
            return null;
        return (string.Join('/', parts[..(end - 2)]), parts[end - 2], parts[end - 1], version);
    }

    private static PocoNode? Make(string type) =>
        ModelInfo.GetTypeForFhirType(type) is { IsAbstract: false } known && Activator.CreateInstance(known) is Resource resource ? resource.ToPocoNode() : null;
}
