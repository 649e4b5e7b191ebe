using System.Globalization;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Search;

namespace RehabRecords.Fhir.Definitions;

/// <param name="Found">The definitions of this page.</param>
/// <param name="Total">Of all pages.</param>
/// <param name="Used">The parameters that were used, for the "self" link.</param>
/// <param name="Next">Place at which the next page begins; null on the last.</param>
public sealed record DefinitionPage(
    IReadOnlyList<PublishedDefinition> Found, int Total, IReadOnlyList<KeyValuePair<string, string>> Used, int? Next);

/// <summary>One search parameter of a type of definitions, as R4 defines it.</summary>
public sealed record DefinitionParameter(string Code, SearchParamType Kind, string Url);

/// <summary>
/// Search among the definitions. They never change while the service runs and are a few thousand, so they are looked
/// through one by one, with the meanings that R4 gives the kinds of parameters.
/// </summary>
public sealed class DefinitionSearch(DefinitionsPack pack, PublishedDefinitions published)
{
    /// <summary>A page of profiles is large: some have a megabyte.</summary>
    public const int UsualCount = 20;
    public const int LargestCount = 200;

    /// <summary>Where the next page begins.</summary>
    public const string CursorName = "_cursor";

    private readonly Lazy<Dictionary<string, Dictionary<string, DefinitionParameter>>> _parameters = new(() => ParametersOf(pack));

    public PublishedDefinitions Published { get; } = published;

    public IEnumerable<DefinitionParameter> For(string type) => _parameters.Value[type].Values.OrderBy(p => p.Code, StringComparer.Ordinal);

    /// <exception cref="RefusedException">A parameter that is not offered (unless lenient), a modifier that is not, or a value that cannot be read.</exception>
    public DefinitionPage Page(string type, IEnumerable<KeyValuePair<string, string>> pairs, bool lenient)
    {
        var (count, from) = (UsualCount, 0);
        var used = new List<KeyValuePair<string, string>>();
        var sort = new List<(string Code, bool Descending)>();
        var found = (IEnumerable<PublishedDefinition>)Published.OfType(type);
        foreach (var (name, value) in pairs.Where(p => p.Value.Length > 0))
        {
            switch (name)
            {
                case "_count":
                    count = Math.Min(Number(name, value), LargestCount);
                    break;
                case CursorName:
                    from = Number(name, value);
                    continue;
                case "_summary" when value == "count":
                    count = 0;
                    break;
                case "_total" or "_summary" or "_elements":
                    break;
                case "_sort":
                    sort.AddRange(value.Split(',').Select(key => SortKey(type, key)));
                    break;
                default:
                    if (Criterion(type, name, value, lenient) is not { } matches)
                        continue;
                    found = found.Where(matches);
                    break;
            }

            used.Add(new(name, value));
        }

        var all = Sorted(found, sort).ToList();
        return new DefinitionPage([.. all.Skip(from).Take(count)], all.Count, used, count > 0 && from + count < all.Count ? from + count : null);
    }

    private static IEnumerable<PublishedDefinition> Sorted(IEnumerable<PublishedDefinition> found, List<(string Code, bool Descending)> sort)
    {
        // The last key first: each sorting keeps the order among equals.
        foreach (var (code, descending) in Enumerable.Reverse(sort))
        {
            string First(PublishedDefinition d) => d.Values.TryGetValue(code, out var values) ? values[0] : "";
            found = descending ? found.OrderByDescending(First, StringComparer.Ordinal) : found.OrderBy(First, StringComparer.Ordinal);
        }

        return found;
    }

    private (string Code, bool Descending) SortKey(string type, string key)
    {
        var code = key.TrimStart('-');
        return _parameters.Value[type].ContainsKey(code)
            ? (code, key.StartsWith('-'))
            : throw SearchQuery.Bad("_sort", $"{type} cannot be sorted by '{code}', only by {string.Join(", ", For(type).Select(p => p.Code))}");
    }

    private Func<PublishedDefinition, bool>? Criterion(string type, string name, string value, bool lenient)
    {
        var parts = name.Split(':');
        var (code, modifier) = (parts[0], parts.Length > 1 ? parts[1] : "");
        if (!_parameters.Value[type].TryGetValue(code, out var parameter))
        {
            return lenient
                ? null
                : throw SearchQuery.Bad(name, $"{type} has no such parameter; it has {string.Join(", ", For(type).Select(p => p.Code))}");
        }

        if (modifier == "missing" && value is "true" or "false")
            return d => d.Values.ContainsKey(code) != (value == "true");
        Func<string, string, bool> equal = (parameter.Kind, modifier) switch
        {
            (SearchParamType.Token, "" or "not") => IsToken,
            (SearchParamType.String, "") => (held, wanted) => FoldedText.Of(held).StartsWith(FoldedText.Of(wanted), StringComparison.Ordinal),
            (SearchParamType.String, "contains") => (held, wanted) => FoldedText.Of(held).Contains(FoldedText.Of(wanted), StringComparison.Ordinal),
            (SearchParamType.String, "exact") => (held, wanted) => held == wanted,
            (SearchParamType.Uri, "below") => (held, wanted) => held == wanted || held.StartsWith(wanted.TrimEnd('/') + "/", StringComparison.Ordinal),
            (SearchParamType.Uri, "") => (held, wanted) => held == wanted,
            (SearchParamType.Reference, "") => (held, wanted) => held == wanted.Split('|')[0] || held.EndsWith("/" + wanted, StringComparison.Ordinal),
            (SearchParamType.Date, "") => (held, asked) => IsDate(held, Asked(name, asked)),
            _ => throw SearchQuery.Bad(name, $"the modifier ':{modifier}' is not offered for it"),
        };
        var wanted = EscapedText.Split(value, ',').Select(EscapedText.Plain).ToList();
        if (parameter.Kind == SearchParamType.Date)
            wanted.ForEach(w => Asked(name, w));
        return modifier == "not"
            ? d => !wanted.Exists(w => Held(d, code).Any(h => equal(h, w)))
            : d => wanted.Exists(w => Held(d, code).Any(h => equal(h, w)));
    }

    private static string[] Held(PublishedDefinition definition, string code) => definition.Values.GetValueOrDefault(code) ?? [];

    // Where R4 gives an element a required set of codes, the value has no system of its own and any that is asked for fits.
    private static bool IsToken(string held, string wanted)
    {
        var (heldSystem, heldCode) = Token(held);
        var (system, code) = Token(wanted);
        return (code.Length == 0 || heldCode == code) && (system is null || heldSystem is null || heldSystem == system) && (code.Length > 0 || system is not null);
    }

    private static (string? System, string Code) Token(string text)
    {
        var bar = text.LastIndexOf('|');
        return bar < 0 ? (null, text) : (text[..bar], text[(bar + 1)..]);
    }

    private static (string Prefix, DateRange Range) Asked(string name, string wanted)
    {
        var prefix = wanted.Length > 2 && char.IsAsciiLetter(wanted[0]) ? wanted[..2] : "";
        return DateRange.Parse(wanted[prefix.Length..]) is { } range && prefix is "" or "eq" or "ne" or "gt" or "lt" or "ge" or "le" or "sa" or "eb"
            ? (prefix, range)
            : throw SearchQuery.Bad(name, $"'{wanted}' is not a date such as 2026, 2026-03 or 2026-03-09, with or without one of eq, ne, gt, lt, ge, le, sa, eb before it");
    }

    private static bool IsDate(string held, (string Prefix, DateRange Range) asked) => DateRange.Parse(held) is { } has && asked.Prefix switch
    {
        "ne" => has.Start < asked.Range.Start || has.Finish > asked.Range.Finish,
        "gt" => has.Finish > asked.Range.Finish,
        "lt" => has.Start < asked.Range.Start,
        "ge" => has.Finish > asked.Range.Start,
        "le" => has.Start < asked.Range.Finish,
        "sa" => has.Start >= asked.Range.Finish,
        "eb" => has.Finish <= asked.Range.Start,
        _ => has.Start >= asked.Range.Start && has.Finish <= asked.Range.Finish,
    };

    private static int Number(string name, string value) =>
        int.TryParse(value, NumberStyles.None, CultureInfo.InvariantCulture, out var number) ? number : throw SearchQuery.Bad(name, $"'{value}' is not a whole number from 0");

    private static Dictionary<string, Dictionary<string, DefinitionParameter>> ParametersOf(DefinitionsPack pack)
    {
        var official = pack.SearchParameters().Where(p => p is { Code: not null, Url: not null, Type: not null }).ToList();
        return DefinitionValues.Types.ToDictionary(
            type => type,
            type => official
                .Where(p => p.Base.Any(b => b?.ToString() == type || (p.Code == "_id" && b?.ToString() == "Resource")) && DefinitionValues.CodesOf(type).Contains(p.Code))
                .DistinctBy(p => p.Code).ToDictionary(p => p.Code!, p => new DefinitionParameter(p.Code!, p.Type!.Value, p.Url!), StringComparer.Ordinal),
            StringComparer.Ordinal);
    }
}
