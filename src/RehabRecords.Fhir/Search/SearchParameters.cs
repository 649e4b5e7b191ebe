using System.Security.Cryptography;
using System.Text;
using System.Text.RegularExpressions;
using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Search;

/// <summary>
/// The official search parameters of the registered types, less those that R4 gives no expression (_text, _content and
/// _query). Everything else that speaks of parameters asks here.
/// </summary>
public sealed partial class SearchParameters
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
            .Select(p => $"{p.Type} {p.Code} {p.Kind} {p.Expression}{string.Concat(p.Components.Select(c => $" {c.Kind} {c.Expression}"))}")))));
    }

    /// <summary>The parameters that tell whom a resource is about: of the first one that a type has and that names a person, the person.</summary>
    internal static IReadOnlyList<string> OfPerson { get; } = ["patient", "subject"];

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
        var all = definitions.Where(d => d is { Code: not null, Url: not null, Type: not (null or SearchParamType.Special) }).ToList();
        var byUrl = all.DistinctBy(d => d.Url).ToDictionary(d => d.Url!, StringComparer.Ordinal);
        var byType = registry.Kinds.ToDictionary(k => k.Type, _ => new Dictionary<string, SearchParam>(StringComparer.Ordinal), StringComparer.Ordinal);
        foreach (var definition in all)
            foreach (var type in TypesOf(definition, registry))
                if (SearchExpression.For(type, definition.Expression) is { } expression && ComponentsOf(definition, byUrl) is { } components)
                    byType[type][definition.Code!] = new SearchParam(
                        type, definition.Code!, definition.Type!.Value, expression, TargetsOf(definition), definition.Url!, definition.Description ?? "")
                    {
                        Components = components,
                        IsIdentifier = definition.Type == SearchParamType.Token && SearchExpression.Split(expression).All(IdentifierAtEnd.IsMatch),
                    };

        foreach (var ofType in byType.Values)
            foreach (var combined in ofType.Values.ToList())
                ofType[combined.Code] = combined with { MadeOf = PartsOf(combined, ofType.Values), TellsThePerson = TellsThePerson(combined, ofType) };
        var parameters = new SearchParameters(registry, byType, compartments?.FirstOrDefault(c => c.Code == CompartmentType.Patient));
        var clash = parameters.All.SelectMany(p => new[] { (p.Key, p), (p.IdentifierKey, p), (p.TextKey, p), (p.OfTypeKey, p) }).GroupBy(k => k.Item1).FirstOrDefault(g => g.Count() > 1);
        return clash is null
            ? parameters
            : throw new InvalidOperationException($"Two search parameters have the same index number: {string.Join(", ", clash.Select(c => $"{c.p.Type}?{c.p.Code}"))}.");
    }

    public IEnumerable<SearchParam> For(string type) =>
        _byType.TryGetValue(type, out var found) ? found.Values.OrderBy(p => p.Code, StringComparer.Ordinal) : [];

    public SearchParam? Find(string type, string code) => _byType.GetValueOrDefault(type)?.GetValueOrDefault(code);

    /// <summary>
    /// A parameter of several types at once, which each of them has; null where one has not. Looked for under the numbers
    /// of all of them.
    /// </summary>
    public SearchParam? Find(IReadOnlyList<string> types, string code)
    {
        ArgumentNullException.ThrowIfNull(types);
        if (types.Count == 1)
            return Find(types[0], code);
        var each = types.Select(t => Find(t, code)).OfType<SearchParam>().ToList();
        return each.Count == types.Count && each.TrueForAll(p => p.Kind == each[0].Kind && p.Kind != SearchParamType.Composite)
            ? each[0] with { Type = "", MadeOf = each, Targets = [.. each.SelectMany(p => p.Targets).Distinct()] }
            : null;
    }

    /// <summary>Parameters that all of the types have.</summary>
    public IEnumerable<SearchParam> For(IReadOnlyList<string> types)
    {
        ArgumentNullException.ThrowIfNull(types);
        return types.Count == 0 ? [] : For(types[0]).Select(p => Find(types, p.Code)).OfType<SearchParam>();
    }

    private static bool TellsThePerson(SearchParam parameter, Dictionary<string, SearchParam> ofType)
    {
        var first = OfPerson.Select(ofType.GetValueOrDefault).FirstOrDefault(p => p is not null);
        return first is not null && OfPerson.Contains(parameter.Code) && OnlyElement(first) is { } element && OnlyElement(parameter) == element;
    }

    /// <summary>The element of a type that an expression leads to straight away, where a resource has it once at most.</summary>
    private static string? OnlyElement(SearchParam parameter) =>
        ElementOfType.Match(parameter.Expression) is { Success: true } match && match.Groups["type"].Value == parameter.Type
        && ModelInfo.ModelInspector.FindClassMapping(parameter.Type)?.FindMappedElementByName(match.Groups["element"].Value) is { IsCollection: false }
            ? match.Groups["element"].Value
            : null;

    private static IReadOnlyList<SearchParam> PartsOf(SearchParam parameter, IEnumerable<SearchParam> ofType)
    {
        var parts = SearchExpression.Split(parameter.Expression).ToHashSet(StringComparer.Ordinal);
        var smaller = ofType.Where(p => p.Kind == parameter.Kind && !p.IsOwnColumn && SameShape(p, parameter))
            .Select(p => (Parameter: p, Parts: SearchExpression.Split(p.Expression).ToHashSet(StringComparer.Ordinal)))
            .Where(p => p.Parts.IsProperSubsetOf(parts)).ToList();
        return smaller.Count > 1 && smaller.SelectMany(p => p.Parts).ToHashSet(StringComparer.Ordinal).SetEquals(parts) ? [.. smaller.Select(p => p.Parameter)] : [];
    }

    private static bool SameShape(SearchParam one, SearchParam other) =>
        one.Components.Select(c => (c.Kind, c.Expression)).SequenceEqual(other.Components.Select(c => (c.Kind, c.Expression)));

    private static IReadOnlyList<string> TargetsOf(SearchParameter definition) => [.. definition.Target.Select(t => t?.ToString() ?? "")];

    /// <summary>Empty for what is no composite; null for a composite of which a part is not known.</summary>
    private static IReadOnlyList<SearchComponent>? ComponentsOf(SearchParameter definition, Dictionary<string, SearchParameter> byUrl)
    {
        if (definition.Type != SearchParamType.Composite)
            return [];
        var parts = definition.Component.Select(c => (c.Expression, Part: byUrl.GetValueOrDefault(c.Definition ?? ""))).ToList();
        if (parts.Count != 2 || !parts.TrueForAll(p => p is { Expression.Length: > 0, Part: not null }))
            return null;
        // R4 names the definitions of DocumentReference?relationship the wrong way round; its expressions are in order, and a code comes first.
        if (parts[0].Part!.Type != SearchParamType.Token)
            (parts[0], parts[1]) = ((parts[0].Expression, parts[1].Part), (parts[1].Expression, parts[0].Part));
        return parts[0].Part!.Type == SearchParamType.Token ? [.. parts.Select(p => new SearchComponent(p.Part!.Type!.Value, p.Expression!, TargetsOf(p.Part)))] : null;
    }

    [GeneratedRegex(@"^(?<type>[A-Z]\w*)\.(?<element>[a-z]\w*)(\.where\(resolve\(\) is Patient\))?$")]
    private static partial Regex ElementOfType { get; }

    [GeneratedRegex(@"[iI]dentifier\)?$|\.requisition$")]
    private static partial Regex IdentifierAtEnd { get; }

    private static IEnumerable<string> TypesOf(SearchParameter definition, ResourceRegistry registry)
    {
        var bases = definition.Base.Select(b => b?.ToString() ?? "").ToList();
        return bases.Contains("Resource")
            ? _common.Contains(definition.Code!) ? registry.Kinds.Select(k => k.Type) : []
            : bases.Where(registry.Has);
    }
}
