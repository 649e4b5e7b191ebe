using Hl7.Fhir.FhirPath;
using Hl7.Fhir.Model;
using Hl7.FhirPath;

namespace RehabRecords.Fhir.Search;

/// <summary>Finds the elements that one search parameter speaks of: plain parts by walking, others by FHIRPath.</summary>
internal sealed class ValueFinder
{
    private readonly ElementPath[] _plain;
    private readonly CompiledExpression[] _others;

    static ValueFinder() => ElementNavFhirExtensions.PrepareFhirSymbolTableFunctions();

    public ValueFinder(SearchParam parameter, bool byFhirPathOnly = false)
    {
        Parameter = parameter;
        var parts = SearchExpression.Split(parameter.Expression).Select(text => (Text: text, Path: byFhirPathOnly ? null : ElementPath.Parse(parameter.Type, text))).ToList();
        _plain = [.. parts.Select(p => p.Path).OfType<ElementPath>()];
        // Each part by itself: a union compares its values, and the engine cannot compare a quantity that has a comparator.
        _others = [.. parts.Where(p => p.Path is null).Select(p => new FhirPathCompiler().Compile(p.Text))];
    }

    public SearchParam Parameter { get; }

    public bool IsPlain => _others.Length == 0;

    public IEnumerable<Base> Values(Resource resource)
    {
        foreach (var path in _plain)
            foreach (var value in path.Values(resource))
                yield return value;
        foreach (var expression in _others)
            foreach (var node in expression([resource.ToPocoNode()], new FhirEvaluationContext { ElementResolver = ReferenceTypes.StandIn }))
                yield return node.Poco;
    }
}
