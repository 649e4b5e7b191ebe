using System.Security.Cryptography;
using System.Text;
using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Search;

/// <summary>
/// A search, understood. Strict unless lenient is asked for: a mistyped filter that is passed over would return more than
/// was asked for, which in a clinical record is the dangerous way to be wrong.
/// </summary>
/// <param name="Types">The types searched, mostly one.</param>
/// <param name="Path">What is searched, as it stands in the address: "Observation", "Patient/1/Observation", or nothing for several types.</param>
public sealed record SearchQuery(IReadOnlyList<string> Types, string Path)
{
    public const int UsualCount = 50;
    public const int LargestCount = 1000;
    public const int UsualPageBytes = 10_000_000;
    private const int MostCriteria = 50;
    private const int MostSortKeys = 5;

    /// <summary>Name of the parameter that carries <see cref="SearchPage"/>'s place to go on from.</summary>
    public const string CursorName = "_cursor";

    // How an answer is shown is no part of what is found.
    private static readonly HashSet<string> _presentation = ["_format", "_pretty", "_summary", "_elements"];

    public IReadOnlyList<Criterion> Criteria { get; init; } = [];

    public IReadOnlyList<SortKey> Sort { get; init; } = [];

    public IReadOnlyList<Inclusion> Inclusions { get; init; } = [];

    /// <summary>Most matches on a page; 0 asks for the total only.</summary>
    public int Count { get; init; } = UsualCount;

    /// <summary>Bytes of resources after which a page ends, though fewer than <see cref="Count"/> are on it; one match in any case.</summary>
    public int PageBytes { get; init; } = UsualPageBytes;

    public bool WantsTotal { get; init; }

    public string? Cursor { get; init; }

    internal Store.PeopleLimit? Limit { get; init; }

    /// <summary>The parameters that were used, for the "self" link; the cursor is not among them.</summary>
    public IReadOnlyList<KeyValuePair<string, string>> Used { get; init; } = [];

    /// <summary>Two queries with the same sign find the same resources in the same order, so that a cursor of one fits the other.</summary>
    internal string Sign => Convert.ToHexStringLower(SHA256.HashData(Encoding.UTF8.GetBytes(
        Path + "\n" + string.Join('\n', Used.Where(u => u.Key is not ("_count" or "_total") && !_presentation.Contains(u.Key)).Select(u => u.Key + "=" + u.Value)))))[..16];

    /// <param name="pairs">Names and values, already unescaped from the address.</param>
    /// <param name="lenient">Passes over parameters that are not known (never over modifiers or bad values).</param>
    /// <param name="ownBase">Address of this service, by which its resources may be referred to as well.</param>
    public static SearchQuery Parse(
        SearchParameters parameters, string type, IEnumerable<KeyValuePair<string, string>> pairs, bool lenient = false, string? ownBase = null) =>
        Read(new SearchQuery([type], type), parameters, pairs, lenient, ownBase);

    /// <summary>A search over several types: those named by <c>_type</c>, or all.</summary>
    public static SearchQuery ParseAcross(SearchParameters parameters, IEnumerable<KeyValuePair<string, string>> pairs, bool lenient = false, string? ownBase = null)
    {
        ArgumentNullException.ThrowIfNull(parameters);
        var given = pairs.Where(p => p.Value.Length > 0).ToList();
        if (given.Count == 0)
            throw Bad("_type", "a search over all types says at least one thing, such as _type=Observation,Procedure or _lastUpdated=gt2026-03-01");
        return Read(new SearchQuery(TypesOf(given, [.. SearchableTypes(parameters)]), ""), parameters, given, lenient, ownBase);
    }

    /// <summary>A search in the record of a person.</summary>
    /// <param name="type">A type of the compartment, or "*" for all of them.</param>
    public static SearchQuery ParseInRecord(
        SearchParameters parameters, string patientId, string type, IEnumerable<KeyValuePair<string, string>> pairs, bool lenient = false, string? ownBase = null)
    {
        ArgumentNullException.ThrowIfNull(parameters);
        var linked = SearchableTypes(parameters).Where(t => parameters.Compartment.LinksOf(t).Count > 0).ToList();
        if (type != "*" && !linked.Contains(type))
            throw new RefusedException(Refusal.NotFound, OperationOutcome.IssueType.NotSupported, $"{type} is not part of a person's record by itself; {string.Join(", ", linked)} are.");
        var given = pairs.ToList();
        IReadOnlyList<string> types = type == "*" ? TypesOf(given, linked) : [type];
        var query = Read(new SearchQuery(types, $"Patient/{patientId}/{type}"), parameters, given, lenient, ownBase);
        return query with { Criteria = [new CompartmentCriterion([.. types.SelectMany(parameters.Compartment.LinksOf)], $"Patient/{patientId}"), .. query.Criteria] };
    }

    private static SearchQuery Read(SearchQuery query, SearchParameters parameters, IEnumerable<KeyValuePair<string, string>> pairs, bool lenient, string? ownBase)
    {
        var criteria = new List<Criterion>();
        var inclusions = new List<Inclusion>();
        var used = new List<KeyValuePair<string, string>>();
        var parser = new CriterionParser(parameters, lenient, ownBase);
        foreach (var (name, value) in pairs)
        {
            if (value.Length == 0)
                continue;
            switch (name)
            {
                case "_count":
                    query = query with { Count = CountOf(value) };
                    break;
                case "_total":
                    query = query with { WantsTotal = TotalOf(value) };
                    break;
                case "_sort":
                    query = query with { Sort = SortOf(parameters, query.Types, value) };
                    break;
                case "_type" when query.Path.Length == 0 || query.Path.EndsWith('*'):
                    break;
                case CursorName:
                    query = query with { Cursor = value };
                    continue;
                case "_summary" when value == "count":
                    query = query with { Count = 0 };
                    break;
                case "_include" or "_include:iterate" or "_revinclude" or "_revinclude:iterate":
                    inclusions.Add(InclusionParser.Parse(parameters, query.Types, name, value));
                    break;
                case var _ when _presentation.Contains(name):
                    break;
                case var _ when name.StartsWith("_include:", StringComparison.Ordinal) || name.StartsWith("_revinclude:", StringComparison.Ordinal):
                    throw Bad(name, "the only modifier of it is :iterate");
                default:
                    if (parser.Parse(query.Types, name, value) is not { } criterion)
                        continue;
                    criteria.Add(criterion);
                    break;
            }

            if (criteria.Count + inclusions.Count > MostCriteria)
                throw Bad(name, $"a search has at most {MostCriteria} parameters");
            used.Add(new(name, value));
        }

        return query with { Criteria = criteria, Inclusions = inclusions, Used = used };
    }

    private static IEnumerable<string> SearchableTypes(SearchParameters parameters) =>
        parameters.Registry.Kinds.Where(k => k.Offers(Interactions.Search)).Select(k => k.Type);

    private static IReadOnlyList<string> TypesOf(IEnumerable<KeyValuePair<string, string>> pairs, IReadOnlyList<string> offered)
    {
        var named = pairs.Where(p => p.Key == "_type" && p.Value.Length > 0).SelectMany(p => p.Value.Split(',')).Distinct(StringComparer.Ordinal).ToList();
        var unknown = named.Find(t => !offered.Contains(t));
        return unknown is not null
            ? throw Bad("_type", $"'{unknown}' is not searched here, only {string.Join(", ", offered)}")
            : named.Count > 0 ? named : offered;
    }

    /// <summary>Parses the part of an address after "?".</summary>
    public static SearchQuery Parse(SearchParameters parameters, string type, string query, bool lenient = false, string? ownBase = null) =>
        Parse(parameters, type, query.TrimStart('?').Split('&', StringSplitOptions.RemoveEmptyEntries).Select(part =>
        {
            var at = part.IndexOf('=', StringComparison.Ordinal);
            return at < 0
                ? new KeyValuePair<string, string>(Uri.UnescapeDataString(part), "")
                : new KeyValuePair<string, string>(Uri.UnescapeDataString(part[..at]), Uri.UnescapeDataString(part[(at + 1)..]));
        }), lenient, ownBase);

    internal static RefusedException Bad(string name, string why) =>
        new(Refusal.Malformed, OperationOutcome.IssueType.Invalid, $"The search parameter '{name}' cannot be used so: {why}.", name);

    private static int CountOf(string value) =>
        int.TryParse(value, System.Globalization.NumberStyles.None, null, out var count)
            ? Math.Min(count, LargestCount)
            : throw Bad("_count", $"'{value}' is not a whole number from 0 to {LargestCount}");

    private static bool TotalOf(string value) => value switch
    {
        "none" => false,
        "accurate" or "estimate" => true,
        _ => throw Bad("_total", $"'{value}' is none of none, estimate, accurate"),
    };

    private static List<SortKey> SortOf(SearchParameters parameters, IReadOnlyList<string> types, string value)
    {
        var keys = new List<SortKey>();
        foreach (var part in value.Split(','))
        {
            var descending = part.StartsWith('-');
            if (parameters.Find(types, descending ? part[1..] : part) is not { IsSortable: true } parameter)
            {
                var sortable = parameters.For(types).Where(p => p.IsSortable).Select(p => p.Code);
                throw Bad("_sort", $"{string.Join(", ", types)} cannot be sorted by '{part}', only by {string.Join(", ", sortable)} (with - before it for the reverse)");
            }

            keys.Add(new SortKey(parameter, descending));
        }

        return keys.Count <= MostSortKeys ? keys : throw Bad("_sort", $"{MostSortKeys} keys are the most");
    }
}
