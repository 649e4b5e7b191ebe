using Hl7.Fhir.Model;
using Hl7.Fhir.Utility;

namespace RehabRecords.Tests.Fhir.Search;

/// <summary>Resources in which every element has a value, so that every search expression has something to find.</summary>
internal static class Filled
{
    private const int Deepest = 4;

    public static Resource Resource(string type, int turn) => (Resource)Make(ModelInfo.GetTypeForFhirType(type)!, turn, 0)!;

    private static Base? Make(Type type, int turn, int depth)
    {
        if (type == typeof(ResourceReference))
            return new ResourceReference(new[] { "Patient/1", "Practitioner/2", "Group/3/_history/1", "https://else.example/fhir/Patient/4", "urn:uuid:8d3c0f4e-0000-4000-8000-000000000000" }[turn % 5]);
        if (type == typeof(Resource))
            return turn % 2 == 0 ? new Patient { Id = "inner" } : new Composition { Id = "inner" };
        if (type.IsAbstract || type == typeof(Extension) || type == typeof(Narrative) || depth > Deepest || Activator.CreateInstance(type) is not Base made)
            return null;
        if (made is PrimitiveType primitive)
        {
            primitive.JsonValue = PrimitiveOf(type, turn);
            return primitive;
        }

        if (ModelInfo.ModelInspector.FindClassMapping(type) is not { } mapping)
            return null;
        foreach (var property in mapping.PropertyMappings.Where(p => p.Name is not ("id" or "contained" or "extension" or "modifierExtension") && !(p.Name == "text" && depth == 0)))
        {
            var choices = property.FhirType.Where(t => !t.IsAbstract || t == typeof(Resource)).DefaultIfEmpty(property.ImplementingType).ToArray();
            if (choices.All(c => c.IsAbstract && c != typeof(Resource)))
                choices = [typeof(FhirString), typeof(Quantity), typeof(CodeableConcept), typeof(FhirDateTime), typeof(Period)];
            var choice = choices.Length == 1 && property.ImplementingType is { IsAbstract: false } exact && typeof(Base).IsAssignableFrom(exact) && choices[0].IsAssignableFrom(exact) ? exact : choices[turn % choices.Length];
            if (Make(choice, turn, depth + 1) is not { } value)
                continue;
            if (property.IsCollection)
            {
                var list = (System.Collections.IList)Activator.CreateInstance(typeof(List<>).MakeGenericType(property.ImplementingType))!;
                list.Add(value);
                if (Make(choice, turn + 1, depth + 1) is { } second)
                    list.Add(second);
                made[property.Name] = list;
            }
            else
            {
                made[property.Name] = value;
            }
        }

        return made;
    }

    private static object PrimitiveOf(Type type, int turn) => type switch
    {
        _ when type == typeof(FhirBoolean) => turn % 2 == 0,
        _ when type == typeof(Integer) || type == typeof(PositiveInt) || type == typeof(UnsignedInt) => turn + 1,
        _ when type == typeof(FhirDecimal) => turn + 0.5m,
        _ when type == typeof(Date) || type == typeof(FhirDateTime) => new[] { "2026", "2026-03", "2026-03-09" }[turn % 3],
        _ when type == typeof(Canonical) => $"https://else.example/fhir/PlanDefinition/{turn}",
        _ when type == typeof(Instant) => "2026-03-09T10:00:00Z",
        { IsGenericType: true } when Enum.GetValues(type.GetGenericArguments()[0]) is var codes => EnumUtility.GetLiteral((Enum)codes.GetValue(turn % codes.Length)!)!,
        _ => turn % 3 == 0 ? "phone" : $"words{turn}",
    };
}
