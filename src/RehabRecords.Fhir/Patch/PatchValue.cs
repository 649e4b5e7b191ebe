using System.Collections;
using Hl7.Fhir.Introspection;
using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Patch;

/// <summary>Makes the value of an operation into an element of the type that its place asks for.</summary>
internal static class PatchValue
{
    /// <summary>The element, or null with the reason.</summary>
    public static Base? Of(Parameters.ParameterComponent given, PropertyMapping property, out string problem)
    {
        problem = "";
        if (given.Resource is { } resource)
            return property.Choice == ChoiceType.ResourceChoice ? (Base)resource.DeepCopy() : Refused($"{property.Name} takes no resource.", out problem);
        if (given.Value is { } value)
            return Of(value, property, out problem);
        return given.Part.Count > 0 ? OfParts(given.Part, property, out problem) : Refused("the value is empty.", out problem);
    }

    /// <summary>The list of a property, made if there is none yet.</summary>
    public static IList ListIn(Base parent, PropertyMapping property)
    {
        if (!parent.TryGetValue(property.Name, out var held) || held is not IList list)
        {
            list = (IList)Activator.CreateInstance(typeof(List<>).MakeGenericType(property.ImplementingType))!;
            parent.SetValue(property.Name, list);
        }
        return list;
    }

    private static Base? Of(DataType value, PropertyMapping property, out string problem)
    {
        problem = "";
        if (property.Choice == ChoiceType.DatatypeChoice)
            return property.FhirType.Any(t => t.IsInstanceOfType(value)) || property.FhirType is [{ } any] && any == typeof(DataType)
                ? (Base)value.DeepCopy()
                : Refused($"{property.Name} is one of {string.Join(", ", property.FhirTypeMappings.Select(m => m.Name))}, not {value.TypeName}.", out problem);
        if (property.ImplementingType.IsInstanceOfType(value))
            return (Base)value.DeepCopy();
        // A code may be sent as a string, a markdown as one, and so on; whether the text fits is checked with the whole.
        if (value is PrimitiveType { JsonValue: { } content } sent && typeof(PrimitiveType).IsAssignableFrom(property.ImplementingType)
            && Activator.CreateInstance(property.ImplementingType) is PrimitiveType made)
        {
            made.JsonValue = content;
            made.ElementId = sent.ElementId;
            made.Extension = [.. sent.Extension.Select(e => (Extension)e.DeepCopy())];
            return made;
        }
        return Refused($"{property.Name} takes {property.PropertyTypeMapping?.Name}, not {value.TypeName}.", out problem);
    }

    // An element without a type of its own is sent as parts, each named like a child of it.
    private static Base? OfParts(List<Parameters.ParameterComponent> parts, PropertyMapping property, out string problem)
    {
        problem = "";
        if (property.PropertyTypeMapping is not { } mapping || property.ImplementingType.IsAbstract || typeof(PrimitiveType).IsAssignableFrom(property.ImplementingType)
            || Activator.CreateInstance(property.ImplementingType) is not Base made)
            return Refused($"{property.Name} takes a value, not parts.", out problem);
        foreach (var part in parts)
        {
            if (part.Name is not { } name || mapping.FindMappedElementByName(name) is not { RepresentsValueElement: false } child)
                return Refused($"{mapping.Name} has no element '{part.Name}'.", out problem);
            if (Of(part, child, out problem) is not { } value)
                return null;
            if (child.IsCollection)
                ListIn(made, child).Add(value);
            else
                made.SetValue(child.Name, value);
        }
        return made;
    }

    private static Base? Refused(string why, out string problem)
    {
        problem = why;
        return null;
    }
}
