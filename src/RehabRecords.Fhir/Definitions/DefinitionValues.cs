using Hl7.Fhir.Model;
using Hl7.Fhir.Utility;

namespace RehabRecords.Fhir.Definitions;

/// <summary>
/// By what a definition can be found: the values of official search parameters, worked out when the pack is built. A token
/// is "system|code", or a code alone where R4 gives it no system.
/// </summary>
public static class DefinitionValues
{
    private static readonly string[] Common = ["_id", "date", "description", "jurisdiction", "name", "publisher", "status", "title", "url", "version"];

    private static readonly Dictionary<string, string[]> OfType = new(StringComparer.Ordinal)
    {
        ["StructureDefinition"] = [.. Common, "identifier", "abstract", "base", "derivation", "experimental", "kind", "type", "valueset"],
        ["ValueSet"] = [.. Common, "identifier", "reference"],
        ["CodeSystem"] = [.. Common, "identifier", "content-mode", "supplements", "system"],
        ["ConceptMap"] = [.. Common, "identifier", "source", "source-uri", "target", "target-uri"],
        ["SearchParameter"] = [.. Common.Except(["title"]), "base", "code", "derived-from", "target", "type"],
        ["OperationDefinition"] = [.. Common, "base", "code", "instance", "kind", "system", "type"],
        ["CompartmentDefinition"] = [.. Common.Except(["title", "jurisdiction"]), "code", "resource"],
        ["CapabilityStatement"] = [.. Common, "fhirversion", "format", "mode", "resource", "software"],
        ["NamingSystem"] = ["_id", "date", "description", "jurisdiction", "kind", "name", "publisher", "status", "value"],
    };

    /// <summary>Types of which definitions are served.</summary>
    public static IReadOnlyCollection<string> Types => OfType.Keys;

    /// <summary>Codes of the search parameters by which a type can be searched.</summary>
    public static IReadOnlyList<string> CodesOf(string type) => [.. OfType[type].Order(StringComparer.Ordinal)];

    internal static IReadOnlyDictionary<string, string[]> Of(Resource resource)
    {
        var values = new Dictionary<string, string[]>(StringComparer.Ordinal);
        foreach (var code in OfType[resource.TypeName])
        {
            var found = Special(resource, code) ?? Plain(resource, code);
            string[] given = [.. found.Where(v => v.Length > 0).Distinct(StringComparer.Ordinal)];
            if (given.Length > 0)
                values[code] = given;
        }

        return values;
    }

    /// <summary>Parameters whose name is not that of the element, or that lie deeper.</summary>
    private static IEnumerable<string>? Special(Resource resource, string code) => (resource, code) switch
    {
        (_, "_id") => Texts(resource.Id),
        (StructureDefinition s, "base") => Texts(s.BaseDefinition),
        (StructureDefinition s, "valueset") => (s.Snapshot?.Element ?? s.Differential?.Element ?? []).Select(e => Bare(e.Binding?.ValueSet)),
        (ValueSet v, "reference") => (v.Compose?.Include ?? []).Select(i => i.System ?? ""),
        (CodeSystem c, "content-mode") => Codes(c.Content),
        (CodeSystem c, "system") => Texts(c.Url),
        (ConceptMap m, "source") => Texts(Bare((m.Source as Canonical)?.Value)),
        (ConceptMap m, "source-uri") => Texts((m.Source as FhirUri)?.Value),
        (ConceptMap m, "target") => Texts(Bare((m.Target as Canonical)?.Value)),
        (ConceptMap m, "target-uri") => Texts((m.Target as FhirUri)?.Value),
        (SearchParameter p, "derived-from") => Texts(p.DerivedFrom),
        (CompartmentDefinition c, "resource") => c.Resource.Select(r => r.Code?.ToString() ?? ""),
        (CapabilityStatement c, "mode") => c.Rest.SelectMany(r => Codes(r.Mode)),
        (CapabilityStatement c, "resource") => c.Rest.SelectMany(r => r.Resource).Select(r => r.Type ?? ""),
        (CapabilityStatement c, "software") => Texts(c.Software?.Name),
        (CapabilityStatement c, "fhirversion") => Codes(c.FhirVersion),
        (NamingSystem n, "value") => n.UniqueId.Select(u => u.Value ?? ""),
        _ => null,
    };

    private static IEnumerable<string> Plain(Resource resource, string code)
    {
        var element = code switch { "fhirversion" => "fhirVersion", _ => code };
        if (!resource.TryGetValue(element, out var found))
            return [];
        return (found switch { Base one => [one], IEnumerable<Base> many => many, _ => [] }).SelectMany(Text);
    }

    private static IEnumerable<string> Text(Base value) => value switch
    {
        CodeableConcept concept => concept.Coding.Select(c => $"{c.System}|{c.Code}"),
        Identifier identifier => [$"{identifier.System}|{identifier.Value}"],
        Canonical canonical => [Bare(canonical.Value)],
        PrimitiveType primitive => [primitive.ToString() ?? ""],
        _ => [],
    };

    private static string[] Texts(string? text) => [text ?? ""];

    private static string[] Codes(Enum? code) => [code?.GetLiteral() ?? ""];

    private static string Bare(string? canonical) => canonical?.Split('|')[0] ?? "";
}
