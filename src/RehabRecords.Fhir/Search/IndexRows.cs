namespace RehabRecords.Fhir.Search;

public readonly record struct TokenRow(int Parameter, string System, string Code);

/// <summary>Half-open, in microseconds since 1970 UTC.</summary>
public readonly record struct DateRow(int Parameter, long Start, long Finish);

/// <param name="Target">"Type/id", an absolute address, a canonical without its version, or "" where only words were given.</param>
/// <param name="Version">Of a versioned reference or canonical; else "".</param>
public readonly record struct ReferenceRow(int Parameter, string Target, string Version);

public readonly record struct StringRow(int Parameter, string Folded, string Exact);

/// <summary>A number has neither system nor code nor unit.</summary>
public readonly record struct QuantityRow(int Parameter, string System, string Code, string Unit, double Low, double High)
{
    /// <summary>The same in base units: their UCUM code, and the numbers; null where the unit is left as it is.</summary>
    public (string Unit, double Low, double High)? InBase { get; init; }
}

/// <summary>A composite: the code that is its first part, and the row that its second part would have by itself.</summary>
/// <param name="Second">A <see cref="TokenRow"/>, <see cref="DateRow"/>, <see cref="ReferenceRow"/>, <see cref="StringRow"/> or <see cref="QuantityRow"/>.</param>
public readonly record struct PairRow(int Parameter, string FirstSystem, string FirstCode, object Second);

public readonly record struct UriRow(int Parameter, string Value);

/// <summary>A business identifier, held by one resource of a type at a time.</summary>
public readonly record struct IdentifierClaim(string System, string Value);

/// <summary>All that is kept beside a resource so that it can be found.</summary>
public sealed class IndexRows
{
    public HashSet<TokenRow> Tokens { get; } = [];

    public HashSet<DateRow> Dates { get; } = [];

    public HashSet<ReferenceRow> References { get; } = [];

    public HashSet<StringRow> Strings { get; } = [];

    public HashSet<QuantityRow> Quantities { get; } = [];

    public HashSet<UriRow> Uris { get; } = [];

    public HashSet<PairRow> Pairs { get; } = [];

    public HashSet<IdentifierClaim> Claims { get; } = [];

    /// <summary>Id of the Patient the resource is about, or null: carried on every row, so that a record can be kept together.</summary>
    public string? Person { get; set; }

    public int Count => Tokens.Count + Dates.Count + References.Count + Strings.Count + Quantities.Count + Uris.Count + Pairs.Count;
}
