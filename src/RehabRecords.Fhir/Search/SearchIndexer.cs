using System.Collections.Concurrent;
using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Search;

/// <summary>
/// Reads from a resource the rows by which it can be found. Expressions are compiled once for each type, when the first
/// resource of it is indexed; all this is done outside the store's writer. Safe for use by many threads at once.
/// </summary>
public sealed class SearchIndexer(SearchParameters parameters)
{
    /// <summary>Raised when rows are made differently from the same definitions; stores then make their index again.</summary>
    private const int Edition = 4;

    private readonly ConcurrentDictionary<string, ValueFinder[]> _byType = new(StringComparer.Ordinal);

    public SearchParameters Parameters { get; } = parameters;

    public string Fingerprint { get; } = $"{Edition}:{parameters.Fingerprint}";

    public IndexRows Index(Resource resource)
    {
        var rows = new IndexRows();
        foreach (var finder in _byType.GetOrAdd(resource.TypeName, FindersOf))
            foreach (var value in finder.Values(resource))
                IndexValues.Add(rows, finder.Parameter, value);
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

    private ValueFinder[] FindersOf(string type) => [.. Parameters.For(type).Where(p => p.HasRows).Select(p => new ValueFinder(p))];

    /// <summary>Of a document: its Composition's subject, which it names by the address of the entry or as Patient/id.</summary>
    private static string? PersonOf(Bundle document)
    {
        if (document.Entry.FirstOrDefault()?.Resource is not Composition { Subject.Reference: { } subject })
            return null;
        if (document.Entry.FirstOrDefault(e => e.FullUrl == subject)?.Resource is Patient { Id: { Length: > 0 } id })
            return id;
        return ReferenceTypes.Split(subject) is { Base: "", Type: "Patient" } person ? person.Id : null;
    }

    private string? PersonOf(Resource resource, IndexRows rows)
    {
        switch (resource)
        {
            case Patient:
                return resource.Id;
            case Binary { SecurityContext.Reference: { } context }:
                return ReferenceTypes.Split(context) is { Base: "", Type: "Patient" } person ? person.Id : null;
            case Bundle { Type: Bundle.BundleType.Document } document:
                return PersonOf(document);
        }

        foreach (var code in SearchParameters.OfPerson)
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
