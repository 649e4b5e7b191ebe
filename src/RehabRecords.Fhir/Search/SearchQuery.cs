using System.Security.Cryptography;
using System.Text;
using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Search;

/// <summary>
/// A search, understood. Strict unless lenient is asked for: a mistyped filter that is passed over would return more than
/// was asked for, which in a clinical record is the dangerous way to be wrong.
/// </summary>
public sealed record SearchQuery(string Type)
{
    public const int UsualCount = 50;
    public const int LargestCount = 1000;

    /// <summary>Name of the parameter that carries <see cref="SearchPage"/>'s place to go on from.</summary>
    public const string CursorName = "_cursor";

    // How an answer is shown is no part of what is found.
    private static readonly HashSet<string> _presentation = ["_format", "_pretty", "_summary", "_elements"];

    public IReadOnlyList<Criterion> Criteria { get; init; } = [];

    public IReadOnlyList<SortKey> Sort { get; init; } = [];

    public IReadOnlyList<Inclusion> Inclusions { get; init; } = [];

    /// <summary>Most matches on a page; 0 asks for the total only.</summary>
    public int Count { get; init; } = UsualCount;

    public bool WantsTotal { get; init; }

    public string? Cursor { get; init; }

    /// <summary>The parameters that were used, for the "self" link; the cursor is not among them.</summary>
    public IReadOnlyList<KeyValuePair<string, string>> Used { get; init; } = [];

    /// <summary>Two queries with the same sign find the same resources in the same order, so that a cursor of one fits the other.</summary>
    internal string Sign => Convert.ToHexStringLower(SHA256.HashData(Encoding.UTF8.GetBytes(
        Type + "\n" + string.Join('\n', Used.Where(u => u.Key is not ("_count" or "_total") && !_presentation.Contains(u.Key)).Select(u => u.Key + "=" + u.Value)))))[..16];

    /// <param name="pairs">Names and values, already unescaped from the address.</param>
    /// <param name="lenient">Passes over parameters that are not known (never over modifiers or bad values).</param>
    public static SearchQuery Parse(SearchParameters parameters, string type, IEnumerable<KeyValuePair<string, string>> pairs, bool lenient = false)
    {
        var criteria = new List<Criterion>();
        var inclusions = new List<Inclusion>();
        var used = new List<KeyValuePair<string, string>>();
        var query = new SearchQuery(type);
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
                    query = query with { Sort = SortOf(parameters, type, value) };
                    break;
                case CursorName:
                    query = query with { Cursor = value };
                    continue;
                case "_summary" when value == "count":
                    query = query with { Count = 0 };
                    break;
                case "_include" or "_revinclude":
                    inclusions.Add(InclusionOf(parameters, type, name == "_revinclude", value));
                    break;
                case var _ when _presentation.Contains(name):
                    break;
                case var _ when name.StartsWith("_include:", StringComparison.Ordinal) || name.StartsWith("_revinclude:", StringComparison.Ordinal):
                    throw Bad(name, "this modifier of _include is not offered; ask for the further resources in a second search");
                default:
                    if (CriterionParser.Parse(parameters, type, name, value, lenient) is not { } criterion)
                        continue;
                    criteria.Add(criterion);
                    break;
            }

            used.Add(new(name, value));
        }

        return query with { Criteria = criteria, Inclusions = inclusions, Used = used };
    }

    /// <summary>Parses the part of an address after "?".</summary>
    public static SearchQuery Parse(SearchParameters parameters, string type, string query, bool lenient = false) =>
        Parse(parameters, type, query.TrimStart('?').Split('&', StringSplitOptions.RemoveEmptyEntries).Select(part =>
        {
            var at = part.IndexOf('=', StringComparison.Ordinal);
            return at < 0
                ? new KeyValuePair<string, string>(Uri.UnescapeDataString(part), "")
                : new KeyValuePair<string, string>(Uri.UnescapeDataString(part[..at]), Uri.UnescapeDataString(part[(at + 1)..]));
        }), lenient);

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

    private static List<SortKey> SortOf(SearchParameters parameters, string type, string value)
    {
        var keys = new List<SortKey>();
        foreach (var part in value.Split(','))
        {
            var descending = part.StartsWith('-');
            var parameter = parameters.Find(type, descending ? part[1..] : part);
            if (parameter is null || !(parameter.IsOwnColumn || parameter.Kind == SearchParamType.Date))
            {
                var sortable = parameters.For(type).Where(p => p.IsOwnColumn || p.Kind == SearchParamType.Date).Select(p => p.Code);
                throw Bad("_sort", $"{type} cannot be sorted by '{part}', only by {string.Join(", ", sortable)} (with - before it for the reverse)");
            }

            keys.Add(new SortKey(parameter, descending));
        }

        return keys;
    }

    private static Inclusion InclusionOf(SearchParameters parameters, string type, bool reverse, string value)
    {
        var name = reverse ? "_revinclude" : "_include";
        var parts = value.Split(':');
        if (parts.Length is not (2 or 3) || parameters.Find(parts[0], parts[1]) is not { Kind: SearchParamType.Reference } parameter)
            throw Bad(name, $"'{value}' must be a type and one of its reference parameters, such as Observation:subject");
        return reverse || parts[0] == type
            ? new Inclusion(reverse, parameter, parts.Length == 3 ? parts[2] : null)
            : throw Bad(name, $"'{value}' starts from {parts[0]}, but {type} is searched");
    }
}
