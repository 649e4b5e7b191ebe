using System.Security.Cryptography;
using System.Text;
using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Search;

/// <summary>One search parameter of one resource type.</summary>
/// <param name="Type">The resource type it belongs to.</param>
/// <param name="Code">Its name in a query.</param>
/// <param name="Kind">How values are compared.</param>
/// <param name="Expression">FHIRPath that finds the values, reduced to what applies to <paramref name="Type"/>.</param>
/// <param name="Targets">For a reference: the types it may point at.</param>
/// <param name="Url">Canonical of its definition.</param>
public sealed record SearchParam(
    string Type, string Code, SearchParamType Kind, string Expression, IReadOnlyList<string> Targets, string Url, string Description)
{
    /// <summary>A stable number for the index: the same on every instance, with no table of numbers to keep.</summary>
    public int Key { get; } = StableHash.Of32($"{Type}?{Code}");

    /// <summary>Under this number the identifiers of a reference are indexed, for <c>:identifier</c>.</summary>
    public int IdentifierKey { get; } = StableHash.Of32($"{Type}?{Code}:identifier");

    /// <summary>
    /// Where the values are all those of other parameters of the type (combo-code: those of code and component-code), it
    /// has no rows of its own; it is looked for under the numbers of the others.
    /// </summary>
    public IReadOnlyList<int> Keys { get; init; } = [StableHash.Of32($"{Type}?{Code}")];

    public bool HasRows => !IsOwnColumn && Keys[0] == Key && Keys.Count == 1;

    /// <summary>Kept in columns of the resource itself.</summary>
    public bool IsOwnColumn => Code is "_id" or "_lastUpdated";
}

/// <summary>
/// The official search parameters of the registered types, less the kinds that are not offered (composite, and those
/// without an expression). Everything else that speaks of parameters asks here.
/// </summary>
public sealed class SearchParameters
{
    private static readonly HashSet<string> _common = ["_id", "_lastUpdated", "_profile", "_security", "_source", "_tag"];

    private readonly Dictionary<string, Dictionary<string, SearchParam>> _byType;

    private SearchParameters(ResourceRegistry registry, Dictionary<string, Dictionary<string, SearchParam>> byType, CompartmentDefinition? compartment)
    {
        Registry = registry;
        _byType = byType;
        Compartment = PatientCompartment.From(compartment, this);
        Fingerprint = Convert.ToHexStringLower(SHA256.HashData(Encoding.UTF8.GetBytes(string.Join('\n', All
            .OrderBy(p => p.Type, StringComparer.Ordinal).ThenBy(p => p.Code, StringComparer.Ordinal)
            .Select(p => $"{p.Type} {p.Code} {p.Kind} {p.Expression}")))));
    }

    public ResourceRegistry Registry { get; }

    public PatientCompartment Compartment { get; }

    public IEnumerable<SearchParam> All => _byType.Values.SelectMany(p => p.Values);

    /// <summary>Changes when a definition does, so that a store notices that its index must be made again.</summary>
    public string Fingerprint { get; }

    /// <summary>Numbers of all reference parameters, of any type, that may point at a resource of the given type.</summary>
    public IReadOnlyList<int> PointingAt(string type) =>
        [.. All.Where(p => p is { Kind: SearchParamType.Reference, HasRows: true } && (p.Targets.Count == 0 || p.Targets.Contains(type))).Select(p => p.Key)];

    /// <param name="compartments">Where R4's definitions of compartments are: without the one of the Patient, a person's record is linked by what is added to it only.</param>
    public static SearchParameters From(IEnumerable<SearchParameter> definitions, ResourceRegistry registry, IEnumerable<CompartmentDefinition>? compartments = null)
    {
        var byType = registry.Kinds.ToDictionary(k => k.Type, _ => new Dictionary<string, SearchParam>(StringComparer.Ordinal), StringComparer.Ordinal);
        foreach (var definition in definitions.Where(d => d is { Code: not null, Url: not null, Type: not (null or SearchParamType.Composite or SearchParamType.Special) }))
        {
            foreach (var type in TypesOf(definition, registry))
            {
                if (SearchExpression.For(type, definition.Expression) is { } expression)
                    byType[type][definition.Code!] = new SearchParam(
                        type,
                        definition.Code!,
                        definition.Type!.Value,
                        expression,
                        [.. definition.Target.Select(t => t?.ToString() ?? "")],
                        definition.Url!,
                        definition.Description ?? "");
            }
        }

        foreach (var ofType in byType.Values)
            foreach (var combined in ofType.Values.ToList())
                ofType[combined.Code] = combined with { Keys = KeysOf(combined, ofType.Values) };
        var parameters = new SearchParameters(registry, byType, compartments?.FirstOrDefault(c => c.Code == CompartmentType.Patient));
        var clash = parameters.All.SelectMany(p => new[] { (p.Key, p), (p.IdentifierKey, p) }).GroupBy(k => k.Item1).FirstOrDefault(g => g.Count() > 1);
        return clash is null
            ? parameters
            : throw new InvalidOperationException($"Two search parameters have the same index number: {string.Join(", ", clash.Select(c => $"{c.p.Type}?{c.p.Code}"))}.");
    }

    public IEnumerable<SearchParam> For(string type) =>
        _byType.TryGetValue(type, out var found) ? found.Values.OrderBy(p => p.Code, StringComparer.Ordinal) : [];

    public SearchParam? Find(string type, string code) => _byType.GetValueOrDefault(type)?.GetValueOrDefault(code);

    private static IReadOnlyList<int> KeysOf(SearchParam parameter, IEnumerable<SearchParam> ofType)
    {
        var parts = SearchExpression.Split(parameter.Expression).ToHashSet(StringComparer.Ordinal);
        var smaller = ofType.Where(p => p.Kind == parameter.Kind && !p.IsOwnColumn)
            .Select(p => (p.Key, Parts: SearchExpression.Split(p.Expression).ToHashSet(StringComparer.Ordinal)))
            .Where(p => p.Parts.IsProperSubsetOf(parts)).ToList();
        return smaller.Count > 1 && smaller.SelectMany(p => p.Parts).ToHashSet(StringComparer.Ordinal).SetEquals(parts) ? [.. smaller.Select(p => p.Key)] : parameter.Keys;
    }

    private static IEnumerable<string> TypesOf(SearchParameter definition, ResourceRegistry registry)
    {
        var bases = definition.Base.Select(b => b?.ToString() ?? "").ToList();
        return bases.Contains("Resource")
            ? _common.Contains(definition.Code!) ? registry.Kinds.Select(k => k.Type) : []
            : bases.Where(registry.Has);
    }
}

internal static class StableHash
{
    public static int Of32(string text) => BitConverter.ToInt32(SHA256.HashData(Encoding.UTF8.GetBytes(text)), 0);

    public static long Of64(string text) => BitConverter.ToInt64(SHA256.HashData(Encoding.UTF8.GetBytes(text)), 0);
}
