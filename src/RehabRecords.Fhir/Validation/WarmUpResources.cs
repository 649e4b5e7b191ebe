using Hl7.Fhir.Model;
using RehabRecords.Fhir.Definitions;

namespace RehabRecords.Fhir.Validation;

/// <summary>Bare resources of the types that our profiles and those of packages are about, each claiming one of them.</summary>
internal static class WarmUpResources
{
    private static readonly string[] AlsoUsed = ["Patient", "Practitioner", "RelatedPerson", "Organization", "Device", "Flag", "AdverseEvent"];

    public static IEnumerable<Resource> Of(DefinitionsPack pack)
    {
        foreach (var profile in pack.OwnProfiles().Concat(pack.PackageProfiles()))
            if (Make(profile.Of!) is { } resource)
            {
                resource.Meta = new Meta { Profile = [profile.Url] };
                yield return resource;
            }

        foreach (var type in AlsoUsed)
            if (Make(type) is { } resource)
                yield return resource;
    }

    private static Resource? Make(string type) => ModelInfo.ModelInspector.FindClassMapping(type)?.CreateInstance() as Resource;
}
