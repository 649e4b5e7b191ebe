using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Search;

/// <summary>Turns one element found by a parameter's expression into rows of the parameter's kind.</summary>
internal static class IndexValues
{
    public static void Add(IndexRows rows, SearchParam parameter, Base element)
    {
        if (parameter.Kind == SearchParamType.Composite)
        {
            AddPairs(rows, parameter, element);
            return;
        }

        Add(rows, parameter.Kind, parameter.Key, parameter.IdentifierKey, element);
        if (parameter.Kind != SearchParamType.Token)
            return;
        foreach (var text in Words(element))
            if (!string.IsNullOrWhiteSpace(text))
                rows.Strings.Add(new StringRow(parameter.TextKey, FoldedText.Of(text), text));
        if (element is Identifier { Type: { } type, Value: { Length: > 0 } value })
            foreach (var coding in type.Coding)
                rows.Tokens.Add(new TokenRow(parameter.OfTypeKey, coding.System ?? "", OfType(Code(coding.Code), Code(value))));
    }

    private static void Add(IndexRows rows, SearchParamType kind, int key, int identifierKey, Base element)
    {
        switch (kind)
        {
            case SearchParamType.Token:
                AddToken(rows, key, element);
                break;
            case SearchParamType.Date:
                AddDate(rows, key, element);
                break;
            case SearchParamType.Reference:
                AddReference(rows, key, identifierKey, element);
                break;
            case SearchParamType.String:
                foreach (var text in Texts(element))
                    if (!string.IsNullOrWhiteSpace(text))
                        rows.Strings.Add(new StringRow(key, FoldedText.Of(text), text));
                break;
            case SearchParamType.Quantity or SearchParamType.Number:
                IndexQuantities.Add(rows, key, element);
                break;
            case SearchParamType.Uri:
                if (element is PrimitiveType { JsonValue: string { Length: > 0 } uri })
                    rows.Uris.Add(new UriRow(key, uri));
                break;
            default:
                throw new InvalidOperationException($"A search parameter of kind {kind} is not indexed.");
        }
    }

    /// <summary>Each code of an element with each value of the same element, so that neither is found with another's.</summary>
    private static void AddPairs(IndexRows rows, SearchParam parameter, Base element)
    {
        var parts = parameter.Components.Select(component =>
        {
            var part = new IndexRows();
            foreach (var value in ComponentPath.Values(element, component.Expression))
                Add(part, component.Kind, 0, 0, value);
            return part;
        }).ToList();
        var second = parts[1];
        IEnumerable<object> values = parameter.Components[1].Kind switch
        {
            SearchParamType.Token => second.Tokens.Cast<object>(),
            SearchParamType.Date => second.Dates.Cast<object>(),
            SearchParamType.Reference => second.References.Cast<object>(),
            SearchParamType.String => second.Strings.Cast<object>(),
            _ => second.Quantities.Cast<object>(),
        };
        foreach (var value in values)
            foreach (var code in parts[0].Tokens)
                rows.Pairs.Add(new PairRow(parameter.Key, code.System, code.Code, value));
    }

    /// <summary>What <c>:text</c> looks at.</summary>
    private static IEnumerable<string?> Words(Base element) => element switch
    {
        Coding coding => [coding.Display],
        CodeableConcept concept => [concept.Text, .. concept.Coding.Select(c => c.Display)],
        Identifier identifier => [identifier.Type?.Text],
        _ => [],
    };

    /// <summary>A bar cannot be confused with one in the value, since a code has none before it.</summary>
    public static string OfType(string code, string value) => code + "|" + value;

    /// <summary>Codes are compared without case, as R4 advises where a code system does not say otherwise.</summary>
    public static string Code(string? code) => code?.ToLowerInvariant() ?? "";

    private static void AddToken(IndexRows rows, int key, Base element)
    {
        switch (element)
        {
            case Coding coding:
                rows.Tokens.Add(new TokenRow(key, coding.System ?? "", Code(coding.Code)));
                break;
            case CodeableConcept concept:
                if (concept.Coding.Count == 0)
                    rows.Tokens.Add(new TokenRow(key, "", ""));
                foreach (var coding in concept.Coding)
                    AddToken(rows, key, coding);
                break;
            case Identifier identifier:
                rows.Tokens.Add(new TokenRow(key, identifier.System ?? "", Code(identifier.Value)));
                break;
            case ContactPoint contact:
                rows.Tokens.Add(new TokenRow(key, "", Code(contact.Value)));
                break;
            case ICoded coded and PrimitiveType { JsonValue: string { Length: > 0 } }:
                foreach (var coding in coded.ToCodings())
                    AddToken(rows, key, coding);
                break;
            case PrimitiveType { JsonValue: bool flag }:
                rows.Tokens.Add(new TokenRow(key, "", flag ? "true" : "false"));
                break;
            case PrimitiveType { JsonValue: { } value }:
                rows.Tokens.Add(new TokenRow(key, "", Code(value.ToString())));
                break;
        }
    }

    private static void AddDate(IndexRows rows, int key, Base element)
    {
        var range = element switch
        {
            Instant { Value: { } time } instant => DateRange.Parse(instant.JsonValue as string) ?? DateRange.Parse(time.ToString("yyyy-MM-ddTHH:mm:ss.fffK")),
            PrimitiveType { JsonValue: string text } => DateRange.Parse(text),
            Period period => DateRange.Of(period),
            Timing timing => DateRange.Of(timing),
            _ => null,
        };
        if (range is { } found)
            rows.Dates.Add(new DateRow(key, found.Start, found.Finish));
    }

    private static void AddReference(IndexRows rows, int key, int identifierKey, Base element)
    {
        switch (element)
        {
            case ResourceReference reference:
                rows.References.Add(ReferenceRowOf(key, reference.Reference ?? ""));
                if (reference.Identifier is { Value.Length: > 0 } identifier)
                    rows.Tokens.Add(new TokenRow(identifierKey, identifier.System ?? "", Code(identifier.Value)));
                break;
            case Canonical { Value: { Length: > 0 } canonical }:
                rows.References.Add(CanonicalRowOf(key, canonical));
                break;
            case PrimitiveType { JsonValue: string { Length: > 0 } uri }:
                rows.References.Add(CanonicalRowOf(key, uri));
                break;
            case Resource { Id.Length: > 0 } inline:
                rows.References.Add(new ReferenceRow(key, $"{inline.TypeName}/{inline.Id}", ""));
                break;
        }
    }

    private static ReferenceRow ReferenceRowOf(int key, string reference) =>
        ReferenceTypes.Split(reference) is { } parts
            ? new ReferenceRow(key, parts.Base.Length == 0 ? $"{parts.Type}/{parts.Id}" : $"{parts.Base}/{parts.Type}/{parts.Id}", parts.Version)
            : new ReferenceRow(key, reference, "");

    private static ReferenceRow CanonicalRowOf(int key, string canonical)
    {
        var bar = canonical.IndexOf('|', StringComparison.Ordinal);
        return bar < 0 ? new ReferenceRow(key, canonical, "") : new ReferenceRow(key, canonical[..bar], canonical[(bar + 1)..]);
    }

    private static IEnumerable<string?> Texts(Base element) => element switch
    {
        HumanName name => [name.Text, name.Family, .. name.Given, .. name.Prefix, .. name.Suffix],
        Address address => [address.Text, .. address.Line, address.City, address.District, address.State, address.PostalCode, address.Country],
        PrimitiveType { JsonValue: { } value } => [value.ToString()],
        CodeableConcept concept => [concept.Text, .. concept.Coding.Select(c => c.Display)],
        _ => [],
    };
}
