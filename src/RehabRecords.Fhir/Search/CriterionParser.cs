using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Search;

/// <summary>Reads one "name[:modifier]=value[,value…]", also with a chain ("patient.name") or a reverse chain ("_has:…") before it.</summary>
/// <param name="ownBase">Address of this service, by which its resources may be referred to as well.</param>
internal sealed class CriterionParser(SearchParameters parameters, bool lenient, string? ownBase)
{
    /// <summary>More would be a way to keep the store busy for long by one short request.</summary>
    public const int MostValues = 200;

    /// <returns>Null where the parameter is not known and that is to be passed over.</returns>
    public Criterion? Parse(IReadOnlyList<string> types, string name, string text)
    {
        if (name.StartsWith("_has:", StringComparison.Ordinal))
            return Has(types, name, text);
        var dot = name.IndexOf('.', StringComparison.Ordinal);
        return dot > 0 ? Chain(types, name, name[..dot], name[(dot + 1)..], text) : Plain(types, name, name, text);
    }

    private Criterion? Plain(IReadOnlyList<string> types, string said, string name, string text)
    {
        var colon = name.IndexOf(':', StringComparison.Ordinal);
        var code = colon < 0 ? name : name[..colon];
        var modifier = colon < 0 ? null : name[(colon + 1)..];
        if (parameters.Find(types, code) is not { } parameter)
        {
            return lenient
                ? null
                : throw SearchQuery.Bad(said, $"{Named(types)} has no such parameter; it has {string.Join(", ", parameters.For(types).Select(p => p.Code))}");
        }

        if (modifier is not null && !parameter.Modifiers.Contains(modifier))
            throw SearchQuery.Bad(said, $"the modifier :{modifier} is not offered for it, only {string.Join(", ", parameter.Modifiers.Select(m => ":" + m).DefaultIfEmpty("the plain name"))}");
        if (modifier == "missing")
        {
            return text switch
            {
                "true" => new MissingCriterion(parameter, true),
                "false" => new MissingCriterion(parameter, false),
                _ => throw SearchQuery.Bad(said, $"'{text}' is neither true nor false"),
            };
        }

        var parts = EscapedText.Split(text, ',').ToList();
        if (parts.Count > MostValues)
            throw SearchQuery.Bad(said, $"it has {parts.Count} values, and {MostValues} are the most");
        var values = parts.Select(part => ValueParser.Value(parameter, modifier, said, part, ownBase)).ToList();
        return new ValueCriterion(parameter, values, modifier == "not", modifier switch
        {
            "identifier" => Facet.Identifier,
            "text" => Facet.Text,
            "of-type" => Facet.OfType,
            _ => Facet.Values,
        });
    }

    private ChainCriterion? Chain(IReadOnlyList<string> types, string said, string link, string rest, string text)
    {
        var colon = link.IndexOf(':', StringComparison.Ordinal);
        var (code, type) = colon < 0 ? (link, null) : (link[..colon], link[(colon + 1)..]);
        if (parameters.Find(types, code) is not { Kind: SearchParamType.Reference } parameter)
            return lenient && parameters.Find(types, code) is null ? null : throw SearchQuery.Bad(said, $"{Named(types)} has no reference parameter '{code}' to go on from");
        if (rest.Contains('.', StringComparison.Ordinal) || rest.StartsWith("_has:", StringComparison.Ordinal))
            throw SearchQuery.Bad(said, "a chain goes one step; search in two steps for more");
        if (type is not null && !parameter.Targets.Contains(type))
            throw SearchQuery.Bad(said, $"'{code}' never leads to {type}, only to {string.Join(", ", parameter.Targets)}");
        var next = rest.Split(':')[0];
        // Without a type the chain goes on in each type that has the parameter.
        var targets = (type is not null ? [type] : parameter.Targets.Where(parameters.Registry.Has)).Where(t => parameters.Find(t, next) is not null)
            .Select(t => (Type: t, Inner: Plain([t], said, rest, text))).Where(t => t.Inner is not null)
            .Select(t => new TargetCriterion(t.Type, t.Inner!, parameters.Find(t.Type, "url"))).ToList();
        return targets.Count > 0 ? new ChainCriterion(parameter, targets)
            : lenient ? null
            : throw SearchQuery.Bad(said, $"nothing that '{link}' leads to has a parameter '{next}'");
    }

    private HasCriterion? Has(IReadOnlyList<string> types, string name, string text)
    {
        if (types is not [var type])
            throw SearchQuery.Bad(name, "it can be asked of one type at a time only");
        var parts = name.Split(':', 4);
        if (parts.Length < 4 || parameters.Find(parts[1], parts[2]) is not { Kind: SearchParamType.Reference } parameter)
            throw SearchQuery.Bad(name, "it must be _has:Type:reference:parameter, such as _has:Observation:patient:code");
        if (parts[3].Contains('.', StringComparison.Ordinal) || parts[3].StartsWith("_has:", StringComparison.Ordinal))
            throw SearchQuery.Bad(name, "_has goes one step; search in two steps for more");
        if (parameter.Targets.Count > 0 && !parameter.Targets.Contains(type))
            throw SearchQuery.Bad(name, $"{parts[1]}:{parts[2]} never leads to {type}, only to {string.Join(", ", parameter.Targets)}");
        return Plain([parts[1]], name, parts[3], text) is { } inner ? new HasCriterion(parameter, type, inner, parameters.Find(type, "url")) : null;
    }

    private static string Named(IReadOnlyList<string> types) => types is [var type] ? type : $"The search over {types.Count} types together";
}
