using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Search;

/// <summary>
/// What belongs to a person's record: R4's CompartmentDefinition/patient as it stands, and four kinds that it leaves out
/// and without which the record would have gaps.
/// <list type="bullet">
/// <item>Task and Device by <c>patient</c>: the work to be done for a person and the equipment they use.</item>
/// <item>Provenance of anything in the record, not only of the Patient: R4 links it by the Patient alone.</item>
/// <item>A document Bundle of a Composition in the record: a Bundle names nobody itself.</item>
/// <item>Binary that a DocumentReference in the record points at, or whose securityContext is the person: bytes name nobody either.</item>
/// </list>
/// AuditEvent stays as R4 has it, by <c>patient</c>: whoever writes one about a person names the person in it (IHE BALP
/// asks for that), and the log of all else is the service's, not the person's.
/// </summary>
public sealed class PatientCompartment
{
    private static readonly (string Type, string Code)[] _further = [("Task", "patient"), ("Device", "patient")];
    private static readonly (string Type, string Code)[] _following = [("Provenance", "target"), ("Bundle", "composition")];

    private readonly Dictionary<string, IReadOnlyList<SearchParam>> _links;

    private PatientCompartment(Dictionary<string, IReadOnlyList<SearchParam>> links, IReadOnlyList<SearchParam> following)
    {
        _links = links;
        Following = following;
        Types = [.. links.Keys.Append("Patient").Concat(following.Select(f => f.Type)).Append("Binary").Distinct().Order(StringComparer.Ordinal)];
    }

    /// <summary>Types of which some resource can be in a person's record.</summary>
    public IReadOnlyList<string> Types { get; }

    /// <summary>Parameters by which a resource that names no person follows one that is in the record.</summary>
    internal IReadOnlyList<SearchParam> Following { get; }

    /// <summary>Numbers of all parameters that link a resource of any type to the person.</summary>
    internal IReadOnlyList<int> Keys => [.. _links.Values.SelectMany(p => p).SelectMany(p => p.Keys).Distinct()];

    /// <param name="definition">R4's definition; null gives only what is added to it here.</param>
    public static PatientCompartment From(CompartmentDefinition? definition, SearchParameters parameters)
    {
        ArgumentNullException.ThrowIfNull(parameters);
        var named = (definition?.Resource ?? []).SelectMany(r => r.Param.Select(code => (Type: r.Code?.ToString() ?? "", Code: code ?? "")));
        return new PatientCompartment(
            named.Concat(_further).GroupBy(n => n.Type)
                .Select(g => (Type: g.Key, Links: (IReadOnlyList<SearchParam>)[.. g.Select(n => parameters.Find(n.Type, n.Code)).OfType<SearchParam>()]))
                .Where(t => t.Links.Count > 0).ToDictionary(t => t.Type, t => t.Links, StringComparer.Ordinal),
            [.. _following.Select(f => parameters.Find(f.Type, f.Code)).OfType<SearchParam>()]);
    }

    /// <summary>Parameters of a type by any of which its resources are linked to the person; empty when the type is not in the compartment by itself.</summary>
    public IReadOnlyList<SearchParam> LinksOf(string type) => _links.GetValueOrDefault(type) ?? [];
}
