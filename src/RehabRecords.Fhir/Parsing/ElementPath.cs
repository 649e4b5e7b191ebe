using Hl7.Fhir.Introspection;
using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Parsing;

/// <summary>A step into a body as it is written: the name of the property, and the place in its array.</summary>
internal readonly record struct Step(string Name, int? Index);

/// <summary>Turns the names of a body into the FHIRPath of the element: valueQuantity is written value there.</summary>
internal static class ElementPath
{
    public static string Of(string? resourceType, IEnumerable<Step> steps)
    {
        var path = new System.Text.StringBuilder(resourceType ?? "Resource");
        var mapping = resourceType is null ? null : ModelInfo.ModelInspector.FindClassMapping(resourceType);
        foreach (var (written, index) in steps)
        {
            var name = written.TrimStart('_');
            var property = mapping?.FindMappedElementByName(name) ?? mapping?.FindMappedElementByChoiceName(name);
            path.Append('.').Append(property?.Name ?? name);
            if (index is { } i)
                path.Append('[').Append(i).Append(']');
            mapping = Next(property, name);
        }

        return path.ToString();
    }

    private static ClassMapping? Next(PropertyMapping? property, string written) => property switch
    {
        null => null,
        { Choice: ChoiceType.DatatypeChoice } when written.Length > property.Name.Length =>
            ModelInfo.ModelInspector.FindClassMapping(written[property.Name.Length..]),
        { Choice: ChoiceType.ResourceChoice } => null,
        _ => property.PropertyTypeMapping,
    };
}
