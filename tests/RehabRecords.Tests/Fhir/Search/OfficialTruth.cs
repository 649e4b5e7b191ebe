using System.Globalization;
using System.Text.RegularExpressions;
using Hl7.Fhir.FhirPath;
using Hl7.Fhir.Model;
using Hl7.FhirPath;
using Expression = Hl7.FhirPath.CompiledExpression;

namespace RehabRecords.Tests.Fhir.Search;

/// <summary>A question about one parameter: how it is written, and whether a resource is an answer.</summary>
internal sealed record Asked(string Name, string Value, Func<Resource, bool> Holds)
{
    public string Query => $"{Uri.EscapeDataString(Name)}={Uri.EscapeDataString(Value)}";
}

/// <summary>
/// Questions about every official parameter, made of the values that its official expression finds in the resources
/// themselves, with answers found by looking at each resource in turn: no index, no SQL, and none of the code that reads
/// queries.
/// </summary>
internal sealed partial class OfficialTruth(IReadOnlyList<Resource> resources, Random random)
{
    private const int ValuesOfEach = 4;

    private readonly Dictionary<string, Resource> _byAddress = resources.ToDictionary(r => $"{r.TypeName}/{r.Id}", StringComparer.Ordinal);

    static OfficialTruth() => ElementNavFhirExtensions.PrepareFhirSymbolTableFunctions();

    public IEnumerable<Resource> Of(string type) => resources.Where(r => r.TypeName == type);

    /// <summary>Values of a parameter in each resource of a type.</summary>
    public Dictionary<Resource, List<Base>> Values(string type, SearchParameter definition)
    {
        // Each part by itself: the engine cannot compare a quantity that has a comparator, which a union does.
        var parts = definition.Expression!.Split(" | ").Select(p => p.Trim()).Where(p => Regex.IsMatch(p, $@"^\(?({type}|Resource|DomainResource)\b")).ToList();
        var compiled = parts.Select(p => new FhirPathCompiler().Compile(p)).ToList();
        return Of(type).ToDictionary(r => r, r => compiled.SelectMany(c => Evaluate(c, r)).ToList());
    }

    public IEnumerable<Asked> Questions(SearchParameter definition, Dictionary<Resource, List<Base>> values)
    {
        var name = definition.Code!;
        yield return new Asked(name + ":missing", "true", r => !values[r].Exists(v => IsSomething(definition.Type!.Value, v)));
        yield return new Asked(name + ":missing", "false", r => values[r].Exists(v => IsSomething(definition.Type!.Value, v)));
        var some = values.Values.SelectMany(v => v).ToList();
        for (var i = 0; i < ValuesOfEach && some.Count > 0; i++)
            foreach (var (modifier, value, holds) in About(definition.Type!.Value, some[random.Next(some.Count)]).Where(a => IsOffered(definition, a.Modifier)))
                yield return modifier == ":not"
                    ? new Asked(name + modifier, value, r => !values[r].Exists(v => holds(v)))
                    : new Asked(name + modifier, value, r => values[r].Exists(v => holds(v)));
    }

    /// <summary>Resources that a parameter's references in a resource lead to.</summary>
    public IEnumerable<Resource> Targets(IEnumerable<Base> references) =>
        references.OfType<ResourceReference>().Select(r => TruthValues.Target(r)).Where(t => t.Length > 0 && _byAddress.ContainsKey(t)).Select(t => _byAddress[t]);

    /// <summary>Both parts of every composite, written out by hand: R4's own expressions for them name a type that does not exist.</summary>
    public static IEnumerable<(Base First, Base Second)> Pairs(Resource resource, string code)
    {
        IEnumerable<(Base?, Base?)> all = resource switch
        {
            Observation o when code.StartsWith("combo-", StringComparison.Ordinal) => o.Component.Select(c => ((Base?)c.Code, (Base?)c.Value)).Append((o.Code, o.Value)),
            Observation o when code.StartsWith("component-", StringComparison.Ordinal) => o.Component.Select(c => ((Base?)c.Code, (Base?)c.Value)),
            Observation o => [(o.Code, o.Value)],
            ActivityDefinition a => a.UseContext.Select(u => ((Base?)u.Code, (Base?)u.Value)),
            PlanDefinition p => p.UseContext.Select(u => ((Base?)u.Code, (Base?)u.Value)),
            DocumentReference d => d.RelatesTo.Select(r => ((Base?)r.CodeElement, (Base?)r.Target)),
            _ => [],
        };
        return all.Where(p => p is (not null, not null) && code[(code.LastIndexOf('-') + 1)..] switch
        {
            "quantity" => p.Item2 is Quantity || (resource is not Observation && p.Item2 is Hl7.Fhir.Model.Range),
            "concept" or "value" => p.Item2 is CodeableConcept,
            "string" => p.Item2 is FhirString,
            "date" => p.Item2 is FhirDateTime or Period,
            _ => p.Item2 is ResourceReference,
        }).Select(p => (p.Item1!, p.Item2!));
    }

    public static SearchParamType KindOfSecond(string code) => code[(code.LastIndexOf('-') + 1)..] switch
    {
        "quantity" => SearchParamType.Quantity,
        "concept" or "value" => SearchParamType.Token,
        "string" => SearchParamType.String,
        "date" => SearchParamType.Date,
        _ => SearchParamType.Reference,
    };

    public IEnumerable<Asked> PairQuestions(string code, IEnumerable<Resource> all)
    {
        var kind = KindOfSecond(code);
        var pairs = all.SelectMany(r => Pairs(r, code)).ToList();
        for (var i = 0; i < ValuesOfEach && pairs.Count > 0; i++)
        {
            // The parts of different elements too, which must not be found.
            var (first, second) = (pairs[random.Next(pairs.Count)].First, pairs[random.Next(pairs.Count)].Second);
            foreach (var one in About(SearchParamType.Token, first).Where(a => a.Modifier.Length == 0).Take(2))
                foreach (var two in About(kind, second).Where(a => a.Modifier.Length == 0).Take(6))
                    yield return new Asked(code, $"{one.Value}${two.Value}", r => Pairs(r, code).Any(p => one.Holds(p.First) && two.Holds(p.Second)));
        }
    }

    // The filled resources refer to types to which a reference must not lead.
    private static bool IsOffered(SearchParameter definition, string modifier) =>
        modifier.Length == 0 || !char.IsUpper(modifier[1]) || definition.Target.Any(t => t?.ToString() == modifier[1..]);

    private static IEnumerable<Base> Evaluate(Expression expression, Resource resource) =>
        expression([resource.ToPocoNode()], new FhirEvaluationContext { ElementResolver = StandIn }).Select(n => n.Poco);

    private static PocoNode? StandIn(string reference)
    {
        var parts = reference.Replace("/_history/", " ", StringComparison.Ordinal).Split(' ')[0].Split('/');
        return parts.Length > 1 && ModelInfo.GetTypeForFhirType(parts[^2]) is { IsAbstract: false } type ? ((Resource)Activator.CreateInstance(type)!).ToPocoNode() : null;
    }

    private static bool IsSomething(SearchParamType kind, Base value) => kind switch
    {
        SearchParamType.Date => TruthValues.Spans(value).Any(),
        SearchParamType.Quantity => TruthValues.Interval(value) is not null,
        SearchParamType.String => TruthValues.Texts(value).Any(t => t.Trim().Length > 0),
        SearchParamType.Reference => value is ResourceReference || TruthValues.Target(value).Length > 0,
        _ => true,
    };

    private IEnumerable<(string Modifier, string Value, Func<Base, bool> Holds)> About(SearchParamType kind, Base value) => kind switch
    {
        SearchParamType.Token => AboutToken(value),
        SearchParamType.Date => AboutDate(value),
        SearchParamType.Reference => AboutReference(value),
        SearchParamType.String => AboutText(value),
        SearchParamType.Uri => AboutUri(value),
        _ => AboutAmount(value),
    };

    private static IEnumerable<(string, string, Func<Base, bool>)> AboutToken(Base value)
    {
        foreach (var (system, code) in TruthValues.Tokens(value).Where(t => t.Code.Length > 0).Take(2))
        {
            yield return ("", Escape(code), v => TruthValues.Tokens(v).Any(t => Same(t.Code, code)));
            yield return (":not", Escape(code), v => TruthValues.Tokens(v).Any(t => Same(t.Code, code)));
            if (system is { Length: > 0 })
            {
                yield return ("", $"{Escape(system)}|{Escape(code)}", v => TruthValues.Tokens(v).Any(t => t.System == system && Same(t.Code, code)));
                yield return ("", $"{Escape(system)}|", v => TruthValues.Tokens(v).Any(t => t.System == system));
            }
        }

        foreach (var words in TruthValues.Words(value).Select(Start).Where(w => w.Length > 0).Take(1))
            yield return (":text", words, v => TruthValues.Words(v).Any(t => SlowSearch.TextMatches("", t.Trim(), words)));
    }

    private static IEnumerable<(string, string, Func<Base, bool>)> AboutDate(Base value)
    {
        foreach (var written in TruthValues.Written(value).Take(2))
            foreach (var prefix in (string[])["", "ne", "gt", "lt", "ge", "le", "sa", "eb"])
                foreach (var asked in (string[])[written, written[..4]])
                    yield return ("", prefix + asked, v => TruthValues.Spans(v).Any(s => SlowSearch.DateMatches(prefix, s, TruthValues.Span(asked))));
    }

    private static IEnumerable<(string, string, Func<Base, bool>)> AboutReference(Base value)
    {
        var target = TruthValues.Target(value);
        // A word by itself is an id, and no address.
        if (!target.Contains('/', StringComparison.Ordinal) && !target.Contains(':', StringComparison.Ordinal))
            yield break;
        yield return ("", Escape(target), v => TruthValues.Target(v) == target);
        if (value is ResourceReference && target.Split('/') is [var type, var id])
        {
            yield return (":" + type, id, v => TruthValues.Target(v) == target);
            yield return ("", TruthValues.OwnBase + "/" + target, v => TruthValues.Target(v) == target);
        }

        if (value is ResourceReference { Identifier: { System: { } system, Value: { } number } })
            yield return (":identifier", $"{Escape(system)}|{Escape(number)}", v => v is ResourceReference { Identifier: { } i } && i.System == system && Same(i.Value, number));
    }

    private static IEnumerable<(string, string, Func<Base, bool>)> AboutText(Base value)
    {
        foreach (var text in TruthValues.Texts(value).Where(t => Start(t).Length > 0).Take(2))
        {
            yield return ("", Start(text), v => TruthValues.Texts(v).Any(t => SlowSearch.TextMatches("", t.Trim(), Start(text))));
            yield return (":contains", Start(text)[^1..], v => TruthValues.Texts(v).Any(t => SlowSearch.TextMatches(":contains", t, Start(text)[^1..])));
            yield return (":exact", Escape(text), v => TruthValues.Texts(v).Any(t => t == text));
        }
    }

    private static IEnumerable<(string, string, Func<Base, bool>)> AboutUri(Base value)
    {
        if (value is not PrimitiveType { JsonValue: string { Length: > 2 } uri })
            yield break;
        string Of(Base v) => v is PrimitiveType { JsonValue: string text } ? text : "";
        yield return ("", Escape(uri), v => Of(v) == uri);
        yield return (":below", Escape(uri[..(uri.Length / 2)]), v => Of(v).StartsWith(uri[..(uri.Length / 2)], StringComparison.Ordinal));
        // Only what is a path lies below anything.
        if (uri.IndexOf("://", StringComparison.Ordinal) is var at and > 0)
            yield return (":above", Escape(uri + "/further/below"), v => Of(v).Length > at + 3 && (uri + "/").StartsWith(Of(v).TrimEnd('/') + "/", StringComparison.Ordinal));
    }

    private static IEnumerable<(string, string, Func<Base, bool>)> AboutAmount(Base value)
    {
        if (TruthValues.Interval(value) is not { } found || (found.Low ?? found.High) is not { } number)
            yield break;
        var written = number.ToString(CultureInfo.InvariantCulture);
        foreach (var prefix in (string[])["", "ne", "gt", "lt", "ge", "le", "sa", "eb"])
        {
            yield return ("", prefix + written, v => TruthValues.Interval(v) is { } i && TruthValues.AmountMatches(prefix, i, written, 1));
            if (found.Code.Length == 0 || found.System != "http://unitsofmeasure.org")
                continue;
            yield return ("", $"{prefix}{written}|{found.System}|{found.Code}", v => TruthValues.Interval(v) is { } i && TruthValues.InUnitOf(i, found.Code) is { } times && TruthValues.AmountMatches(prefix, i, written, times));
            if (TruthValues.Other(found.Code) is not { } other)
                continue;
            var turned = decimal.Round(number * TruthValues.InBase[found.Code].Factor / TruthValues.InBase[other].Factor, 3).ToString(CultureInfo.InvariantCulture);
            yield return ("", $"{prefix}{turned}|{found.System}|{other}", v => TruthValues.Interval(v) is { } i && TruthValues.InUnitOf(i, other) is { } times && TruthValues.AmountMatches(prefix, i, turned, times));
        }
    }

    private static bool Same(string? one, string? other) => string.Equals(one, other, StringComparison.OrdinalIgnoreCase);

    /// <summary>Plain letters at the start of a text, which no folding can change.</summary>
    private static string Start(string text) => PlainStart.Match(text).Value;

    [GeneratedRegex("^[A-Za-z0-9]{1,6}")]
    private static partial Regex PlainStart { get; }

    private static string Escape(string text) => Regex.Replace(text, @"[\\,|$]", m => @"\" + m.Value);
}
