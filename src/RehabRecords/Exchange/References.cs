using Hl7.Fhir.Model;

namespace RehabRecords.Exchange;

/// <summary>Every reference in a resource, at any depth, extensions and contained resources included.</summary>
internal static class References
{
    public static IEnumerable<ResourceReference> In(Base element)
    {
        foreach (var (_, value) in element.EnumerateElements())
            foreach (var child in value switch { Base one => [one], IEnumerable<Base> many => many, _ => Enumerable.Empty<Base>() })
            {
                if (child is ResourceReference { Reference.Length: > 0 } reference)
                    yield return reference;
                foreach (var deeper in In(child))
                    yield return deeper;
            }
    }
}
