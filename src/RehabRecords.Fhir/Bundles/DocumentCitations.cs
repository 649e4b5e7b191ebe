using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Bundles;

/// <summary>A reference to a resource of this record: to one exact version, or (open) to whatever is current.</summary>
internal readonly record struct Citation(string Type, string Id, int? Version)
{
    public string Address => $"{Type}/{Id}";

    public string VersionedAddress => $"{Type}/{Id}/_history/{Version}";

    public override string ToString() => Version is null ? Address : VersionedAddress;

    /// <summary>Reads "Type/id" and "Type/id/_history/3"; anything else (contained, absolute, by identifier only) is not ours to include.</summary>
    public static Citation? Of(string? reference)
    {
        var parts = reference?.Split('/');
        return parts switch
        {
            [{ Length: > 0 } type, { Length: > 0 } id] when char.IsAsciiLetterUpper(type[0]) => new Citation(type, id, null),
            [{ Length: > 0 } type, { Length: > 0 } id, "_history", var version]
                when char.IsAsciiLetterUpper(type[0]) && int.TryParse(version, out var number) => new Citation(type, id, number),
            _ => null,
        };
    }
}

internal static class Citations
{
    /// <summary>Every reference in a resource, at any depth, extensions included.</summary>
    public static IEnumerable<Citation> Of(Base element)
    {
        foreach (var (_, value) in element.EnumerateElements())
            foreach (var child in value switch { Base one => [one], IEnumerable<Base> many => many, _ => [] })
            {
                if (child is ResourceReference reference && Citation.Of(reference.Reference) is { } cited)
                    yield return cited;
                foreach (var deeper in Of(child))
                    yield return deeper;
            }
    }
}
