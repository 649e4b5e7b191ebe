using Hl7.Fhir.FhirPath;
using Hl7.Fhir.Model;
using Hl7.FhirPath;

namespace RehabRecords.Fhir.Search;

/// <summary>
/// Reads from a resource the rows by which it can be found: each parameter's expression is compiled once and evaluated
/// outside the store's writer. Safe for use by many threads at once.
/// </summary>
public sealed class SearchIndexer
{
    /// <summary>Raised when rows are made differently from the same definitions; stores then make their index again.</summary>
    private const int Edition = 1;

    private readonly Dictionary<string, (SearchParam Parameter, CompiledExpression Values)[]> _byType;

    public SearchIndexer(SearchParameters parameters)
    {
        Parameters = parameters;
        Fingerprint = $"{Edition}:{parameters.Fingerprint}";
        ElementNavFhirExtensions.PrepareFhirSymbolTableFunctions();
        var compiler = new FhirPathCompiler();
        _byType = parameters.All.Where(p => !p.IsOwnColumn).GroupBy(p => p.Type, StringComparer.Ordinal)
            .ToDictionary(g => g.Key, g => g.Select(p => (p, compiler.Compile(p.Expression))).ToArray(), StringComparer.Ordinal);
    }

    public SearchParameters Parameters { get; }

    public string Fingerprint { get; }

    public IndexRows Index(Resource resource)
    {
        var rows = new IndexRows();
        if (_byType.TryGetValue(resource.TypeName, out var parameters))
        {
            var node = resource.ToPocoNode();
            var context = new FhirEvaluationContext { ElementResolver = ReferenceTypes.StandIn };
            foreach (var (parameter, values) in parameters)
                foreach (var value in values([node], context))
                    IndexValues.Add(rows, parameter, value.Poco);
        }

        foreach (var identifier in IdentifiersOf(resource))
            if (identifier is { System.Length: > 0, Value.Length: > 0 })
                rows.Claims.Add(new IdentifierClaim(identifier.System, identifier.Value));
        rows.Person = PersonOf(resource, rows);
        return rows;
    }

    private static IEnumerable<Identifier> IdentifiersOf(Resource resource) =>
        resource.TryGetValue("identifier", out var found)
            ? found switch
            {
                Identifier one => [one],
                IEnumerable<Base> many => many.OfType<Identifier>(),
                _ => [],
            }
            : [];

    private string? PersonOf(Resource resource, IndexRows rows)
    {
        if (resource is Patient)
            return resource.Id;
        foreach (var code in (ReadOnlySpan<string>)["patient", "subject"])
        {
            if (Parameters.Find(resource.TypeName, code) is not { } parameter)
                continue;
            var target = rows.References.Where(r => r.Parameter == parameter.Key && r.Target.StartsWith("Patient/", StringComparison.Ordinal))
                .Select(r => r.Target).Order(StringComparer.Ordinal).FirstOrDefault();
            if (target is not null)
                return target["Patient/".Length..];
        }

        return null;
    }
}
