namespace RehabRecords.Fhir.Search;

/// <summary>How a date, number or quantity is compared: the FHIR prefixes.</summary>
public enum Comparison
{
    Eq,
    Ne,
    Gt,
    Lt,
    Ge,
    Le,
    Sa,
    Eb,
    Ap,
}

public enum TextMatch
{
    Starts,
    Contains,
    Exact,
}

/// <summary>One alternative of a criterion.</summary>
public abstract record SearchValue;

/// <param name="System">Null: any system. "": expressly none.</param>
/// <param name="Code">Null: any code of the system.</param>
public sealed record TokenValue(string? System, string? Code) : SearchValue;

/// <summary>Half-open, in microseconds since 1970 UTC.</summary>
public sealed record DateValue(Comparison Comparison, long Start, long Finish) : SearchValue;

/// <param name="Targets">Any of these: a bare id may be of several types.</param>
/// <param name="Version">Null: any version.</param>
public sealed record ReferenceValue(IReadOnlyList<string> Targets, string? Version) : SearchValue
{
    public bool Equals(ReferenceValue? other) => other is not null && Version == other.Version && Targets.SequenceEqual(other.Targets);

    public override int GetHashCode() => HashCode.Combine(Version, Targets.Count);
}

public sealed record StringValue(TextMatch Match, string Text) : SearchValue;

/// <param name="Low">Of the span that the written precision stands for: 5.4 is from 5.35 …</param>
/// <param name="High">… up to 5.45.</param>
/// <param name="System">Null: any.</param>
/// <param name="Unit">Code of the unit; null for any unit, and for a plain number.</param>
public sealed record QuantityValue(Comparison Comparison, double Value, double Low, double High, string? System, string? Unit) : SearchValue;

public sealed record UriValue(string Uri) : SearchValue;

public sealed record IdValue(string Id) : SearchValue;

/// <summary>One parameter of a query: satisfied by any of its values. All criteria of a query must be satisfied.</summary>
public abstract record Criterion(SearchParam Parameter);

/// <param name="Not">Satisfied by resources that have none of the values.</param>
/// <param name="ByIdentifier">The identifier of a reference is meant, not its target.</param>
public sealed record ValueCriterion(SearchParam Parameter, IReadOnlyList<SearchValue> AnyOf, bool Not = false, bool ByIdentifier = false) : Criterion(Parameter);

public sealed record MissingCriterion(SearchParam Parameter, bool Missing) : Criterion(Parameter);

public sealed record SortKey(SearchParam Parameter, bool Descending);

/// <summary>Resources to send along with the matches.</summary>
/// <param name="Reverse">Those that refer to a match, not those it refers to.</param>
/// <param name="Target">Only those of this type.</param>
public sealed record Inclusion(bool Reverse, SearchParam Parameter, string? Target);
