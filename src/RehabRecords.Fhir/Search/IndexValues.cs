using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Search;

/// <summary>Turns one element found by a parameter's expression into rows of the parameter's kind.</summary>
internal static class IndexValues
{
    public static void Add(IndexRows rows, SearchParam parameter, Base element)
    {
        switch (parameter.Kind)
        {
            case SearchParamType.Token:
                AddToken(rows, parameter.Key, element);
                break;
            case SearchParamType.Date:
                AddDate(rows, parameter.Key, element);
                break;
            case SearchParamType.Reference:
                AddReference(rows, parameter, element);
                break;
            case SearchParamType.String:
                foreach (var text in Texts(element))
                    if (!string.IsNullOrWhiteSpace(text))
                        rows.Strings.Add(new StringRow(parameter.Key, FoldedText.Of(text), text));
                break;
            case SearchParamType.Quantity or SearchParamType.Number:
                AddQuantity(rows, parameter.Key, element);
                break;
            case SearchParamType.Uri:
                if (element is PrimitiveType { JsonValue: string { Length: > 0 } uri })
                    rows.Uris.Add(new UriRow(parameter.Key, uri));
                break;
            default:
                throw new InvalidOperationException($"A search parameter of kind {parameter.Kind} is not indexed.");
        }
    }

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

    private static void AddReference(IndexRows rows, SearchParam parameter, Base element)
    {
        switch (element)
        {
            case ResourceReference reference:
                rows.References.Add(ReferenceRowOf(parameter.Key, reference.Reference ?? ""));
                if (reference.Identifier is { Value.Length: > 0 } identifier)
                    rows.Tokens.Add(new TokenRow(parameter.IdentifierKey, identifier.System ?? "", Code(identifier.Value)));
                break;
            case Canonical { Value: { Length: > 0 } canonical }:
                rows.References.Add(CanonicalRowOf(parameter.Key, canonical));
                break;
            case PrimitiveType { JsonValue: string { Length: > 0 } uri }:
                rows.References.Add(CanonicalRowOf(parameter.Key, uri));
                break;
            case Resource { Id.Length: > 0 } inline:
                rows.References.Add(new ReferenceRow(parameter.Key, $"{inline.TypeName}/{inline.Id}", ""));
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

    private static void AddQuantity(IndexRows rows, int key, Base element)
    {
        switch (element)
        {
            case Quantity { Value: { } value } quantity:
                var (low, high) = quantity.Comparator switch
                {
                    Quantity.QuantityComparator.LessThan or Quantity.QuantityComparator.LessOrEqual => (double.NegativeInfinity, (double)value),
                    Quantity.QuantityComparator.GreaterThan or Quantity.QuantityComparator.GreaterOrEqual => ((double)value, double.PositiveInfinity),
                    _ => ((double)value, (double)value),
                };
                rows.Quantities.Add(new QuantityRow(key, quantity.System ?? "", quantity.Code ?? "", quantity.Unit ?? "", low, high));
                break;
            case Hl7.Fhir.Model.Range range when range.Low?.Value is not null || range.High?.Value is not null:
                var unit = range.Low ?? range.High!;
                rows.Quantities.Add(new QuantityRow(
                    key,
                    unit.System ?? "",
                    unit.Code ?? "",
                    unit.Unit ?? "",
                    range.Low?.Value is { } from ? (double)from : double.NegativeInfinity,
                    range.High?.Value is { } to ? (double)to : double.PositiveInfinity));
                break;
            case PrimitiveType { JsonValue: { } number } when decimal.TryParse(number.ToString(), out var plain):
                rows.Quantities.Add(new QuantityRow(key, "", "", "", (double)plain, (double)plain));
                break;
        }
    }
}
