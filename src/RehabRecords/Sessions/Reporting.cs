using Hl7.Fhir.Model;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Sessions;

/// <summary>Who reports, as FHIR refers to them.</summary>
internal static class Reporting
{
    /// <summary>
    /// A name alone does not make a person of the record: who is not found is referred to in words, with the type
    /// telling the role.
    /// </summary>
    public static async Task<ResourceReference> ReferenceAsync(this ReporterRequest reporter, string person, RecordStore store, CancellationToken ct) => reporter.Role switch
    {
        "patient" => new ResourceReference($"Patient/{person}") { Type = "Patient" },
        "carer" => Carer(reporter, await store.FindAllAsync<RelatedPerson>($"patient=Patient/{person}", ct)),
        "clinician" => new ResourceReference { Type = "Practitioner", Display = reporter.Name ?? "clinician, name not given" },
        _ => new ResourceReference { Type = "PractitionerRole", Display = reporter.Name ?? "support worker, name not given" },
    };

    private static ResourceReference Carer(ReporterRequest reporter, IReadOnlyList<RelatedPerson> carers)
    {
        var found = reporter.Name is { } name
            ? carers.FirstOrDefault(c => string.Equals(c.Name.FirstOrDefault()?.Text, name, StringComparison.OrdinalIgnoreCase))
            : carers.Count == 1 ? carers[0] : null;
        return found is null
            ? new ResourceReference { Type = "RelatedPerson", Display = reporter.Name ?? "carer, name not given" }
            : new ResourceReference($"RelatedPerson/{found.Id}", found.Name.FirstOrDefault()?.Text) { Type = "RelatedPerson" };
    }

    /// <summary>The role a reference tells.</summary>
    public static ReporterRequest From(ResourceReference? reference) => new()
    {
        Role = (reference?.Type ?? reference?.Reference?.Split('/')[0]) switch
        {
            "Patient" => "patient",
            "RelatedPerson" => "carer",
            "Practitioner" => "clinician",
            "PractitionerRole" => "support-worker",
            _ => null,
        },
        Name = reference?.Display,
    };
}
