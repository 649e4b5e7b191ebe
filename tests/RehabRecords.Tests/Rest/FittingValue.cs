using Hl7.Fhir.FhirPath;
using Hl7.Fhir.Model;
using Hl7.FhirPath;
using RehabRecords.Fhir.Search;

namespace RehabRecords.Tests.Rest;

/// <summary>
/// A value by which a resource must be found, read out of it by the official expression of the parameter and the
/// library's FHIRPath, with nothing of our index.
/// </summary>
internal static class FittingValue
{
    static FittingValue() => ElementNavFhirExtensions.PrepareFhirSymbolTableFunctions();

    /// <returns>Null when the resource has nothing the parameter speaks of.</returns>
    public static string? Of(Resource resource, SearchParameter parameter, Func<string, SearchParameter?> definitions)
    {
        if (parameter.Code == "_id")
            return resource.Id;
        if (parameter.Code == "_lastUpdated")
            return "ge2020-01-01";
        foreach (var found in Select(resource.ToPocoNode(), OfType(resource.TypeName, parameter.Expression ?? "")))
        {
            var text = parameter.Type == SearchParamType.Composite ? Composite(found, parameter, definitions) : Text(found.Poco, parameter.Type!.Value);
            if (!string.IsNullOrEmpty(text))
                return text;
        }

        return null;
    }

    private static string OfType(string type, string expression) =>
        string.Join(" | ", SearchExpression.Split(expression).Where(p => p.TrimStart('(', ' ') is var part && (part.StartsWith(type + ".", StringComparison.Ordinal) || part == type
            || part.StartsWith(type + " ", StringComparison.Ordinal) || part.StartsWith("Resource.", StringComparison.Ordinal))));

    private static IEnumerable<PocoNode> Select(PocoNode from, string expression) =>
        expression.Length == 0 ? [] : new FhirPathCompiler().Compile(expression)([from], new FhirEvaluationContext { ElementResolver = ReferenceTypes.StandIn });

    private static string? Composite(PocoNode found, SearchParameter parameter, Func<string, SearchParameter?> definitions)
    {
        var parts = new List<string>();
        foreach (var component in parameter.Component)
        {
            var definition = definitions(component.Definition!)!;
            var text = Select(found, component.Expression!).Select(v => Text(v.Poco, definition.Type!.Value)).FirstOrDefault(t => !string.IsNullOrEmpty(t));
            if (text is null)
                return null;
            parts.Add(text);
        }

        return string.Join('$', parts);
    }

    private static string? Text(Base value, SearchParamType kind) => (kind, value) switch
    {
        (_, CodeableConcept concept) => concept.Coding.Select(c => Text(c, kind)).FirstOrDefault(t => t is not null),
        (_, Coding coding) => coding.Code is null ? null : Escaped(coding.System ?? "") + "|" + Escaped(coding.Code),
        (_, Identifier identifier) => identifier.Value is null ? null : Escaped(identifier.System ?? "") + "|" + Escaped(identifier.Value),
        (_, ContactPoint point) => Escaped(point.Value),
        (_, HumanName name) => Escaped(name.Family),
        (_, Address address) => Escaped(address.City),
        (_, Period period) => period.Start is { } start ? "ge" + start : null,
        (_, Timing timing) => timing.Event.FirstOrDefault() is { } at ? "ge" + at : null,
        (SearchParamType.Reference, ResourceReference reference) => Escaped(reference.Reference),
        (SearchParamType.Reference, Resource { Id: { } id } inner) => $"{inner.TypeName}/{id}",
        (SearchParamType.Quantity, Hl7.Fhir.Model.Range range) => range.Low is { } low ? "ge" + Text(low, kind) : null,
        (SearchParamType.Quantity, Quantity { Value: { } number } quantity) => quantity.Code is null ? $"ge{number}" : $"{Same(quantity)}{number}|{Escaped(quantity.System ?? "")}|{Escaped(quantity.Code)}",
        (_, PrimitiveType primitive) => Escaped(primitive.ToString()),
        _ => null,
    };

    // What is known to be above or below a number is not equal to it.
    private static string Same(Quantity quantity) => quantity.Comparator switch
    {
        Quantity.QuantityComparator.LessThan or Quantity.QuantityComparator.LessOrEqual => "lt",
        Quantity.QuantityComparator.GreaterThan or Quantity.QuantityComparator.GreaterOrEqual => "gt",
        _ => "",
    };

    private static string? Escaped(string? text) =>
        text?.Replace("\\", "\\\\", StringComparison.Ordinal).Replace("|", "\\|", StringComparison.Ordinal).Replace(",", "\\,", StringComparison.Ordinal).Replace("$", "\\$", StringComparison.Ordinal);
}
