using System.Security.Cryptography;
using System.Text;
using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Search;

/// <summary>One search parameter of one resource type.</summary>
/// <param name="Type">The resource type it belongs to; empty where several types are searched at once.</param>
/// <param name="Code">Its name in a query.</param>
/// <param name="Kind">How values are compared.</param>
/// <param name="Expression">FHIRPath that finds the values, reduced to what applies to <paramref name="Type"/>.</param>
/// <param name="Targets">For a reference: the types it may point at.</param>
/// <param name="Url">Canonical of its definition.</param>
public sealed record SearchParam(
    string Type, string Code, SearchParamType Kind, string Expression, IReadOnlyList<string> Targets, string Url, string Description)
{
    private static readonly string[] _allPrefixes = ["eq", "ne", "gt", "lt", "ge", "le", "sa", "eb", "ap"];

    /// <summary>A stable number for the index: the same on every instance, with no table of numbers to keep.</summary>
    public int Key { get; } = StableHash.Of32($"{Type}?{Code}");

    /// <summary>Under this number the identifiers of a reference are indexed, for <c>:identifier</c>.</summary>
    public int IdentifierKey { get; } = StableHash.Of32($"{Type}?{Code}:identifier");

    /// <summary>The words that go with a code or identifier, for <c>:text</c>.</summary>
    public int TextKey { get; } = StableHash.Of32($"{Type}?{Code}:text");

    /// <summary>Identifiers with their type, for <c>:of-type</c>.</summary>
    public int OfTypeKey { get; } = StableHash.Of32($"{Type}?{Code}:of-type");

    /// <summary>
    /// Where the values are all those of other parameters of the type (combo-code: those of code and component-code), it
    /// has no rows of its own; it is looked for under the numbers of the others. Empty where it has its own.
    /// </summary>
    public IReadOnlyList<SearchParam> MadeOf { get; init; } = [];

    /// <summary>What a composite compares with one another, in the order of the query; empty for every other kind.</summary>
    public IReadOnlyList<SearchComponent> Components { get; init; } = [];

    /// <summary>Whether values are Identifiers, which alone have a type.</summary>
    public bool IsIdentifier { get; init; }

    /// <summary>
    /// Whether all that it finds by one person is indexed under that person's number: it is what the number was taken from, and R4 gives the
    /// element once at most.
    /// </summary>
    public bool TellsThePerson { get; init; }

    /// <summary>Whether it finds references to a Patient only, of all those in its element.</summary>
    public bool FindsPeopleOnly => Expression.EndsWith(".where(resolve() is Patient)", StringComparison.Ordinal);

    public IReadOnlyList<int> Keys => Under(p => p.Key);

    public bool HasRows => !IsOwnColumn && MadeOf.Count == 0;

    /// <summary>Kept in columns of the resource itself.</summary>
    public bool IsOwnColumn => Code is "_id" or "_lastUpdated";

    /// <summary>What may follow the name after a colon. Types after a reference also narrow a chain to them.</summary>
    public IReadOnlyList<string> Modifiers => this switch
    {
        { IsOwnColumn: true } => [],
        { Kind: SearchParamType.Token, IsIdentifier: true } => ["missing", "not", "text", "of-type"],
        { Kind: SearchParamType.Token } => ["missing", "not", "text"],
        { Kind: SearchParamType.String } => ["missing", "exact", "contains"],
        { Kind: SearchParamType.Reference } => ["missing", "identifier", .. Targets],
        { Kind: SearchParamType.Uri } => ["missing", "above", "below"],
        _ => ["missing"],
    };

    /// <summary>What may stand before a value.</summary>
    public IReadOnlyList<string> Prefixes => Kind is SearchParamType.Date or SearchParamType.Quantity or SearchParamType.Number ? _allPrefixes : [];

    /// <summary>Whether <c>_sort</c> takes it: all but composites, which have no one value.</summary>
    public bool IsSortable => Kind != SearchParamType.Composite;

    /// <summary>Whether a query may go on with ".name" after it.</summary>
    public bool IsChainable => Kind == SearchParamType.Reference;

    internal IReadOnlyList<int> Under(Func<SearchParam, int> number) => MadeOf.Count == 0 ? [number(this)] : [.. MadeOf.SelectMany(p => p.Under(number))];
}

/// <summary>One part of a composite.</summary>
/// <param name="Kind">How it is compared.</param>
/// <param name="Expression">FHIRPath from the element that both parts share.</param>
/// <param name="Targets">For a reference: the types it may point at.</param>
public sealed record SearchComponent(SearchParamType Kind, string Expression, IReadOnlyList<string> Targets);

internal static class StableHash
{
    public static int Of32(string text) => BitConverter.ToInt32(SHA256.HashData(Encoding.UTF8.GetBytes(text)), 0);

    public static long Of64(string text) => BitConverter.ToInt64(SHA256.HashData(Encoding.UTF8.GetBytes(text)), 0);
}
