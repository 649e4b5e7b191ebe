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
public sealed record QuantityValue(Comparison Comparison, double Value, double Low, double High, string? System, string? Unit) : SearchValue
{
    /// <summary>The same in base units, where the unit can be turned into them: finds 90 s by 1.5 min.</summary>
    public BaseQuantity? InBase { get; init; }
}

/// <param name="Unit">UCUM code in base units.</param>
public sealed record BaseQuantity(string Unit, double Value, double Low, double High);

public enum UriMatch
{
    Same,

    /// <summary>The value is the given address or one that it lies below.</summary>
    Above,

    /// <summary>The value is the given address or lies below it.</summary>
    Below,
}

public sealed record UriValue(string Uri, UriMatch Match = UriMatch.Same) : SearchValue;

/// <summary>An identifier of a kind: the code of its type, and its value.</summary>
public sealed record OfTypeValue(string System, string Code, string Value) : SearchValue;

/// <summary>Both parts of a composite, of the same element.</summary>
public sealed record CompositeValue(TokenValue First, SearchValue Second) : SearchValue;

public sealed record IdValue(string Id) : SearchValue;

/// <summary>What of a parameter is compared: its values, or what is indexed beside them.</summary>
public enum Facet
{
    Values,
    Identifier,
    Text,
    OfType,
}

/// <summary>One parameter of a query: satisfied by any of its values. All criteria of a query must be satisfied.</summary>
public abstract record Criterion(SearchParam Parameter);

/// <param name="Not">Satisfied by resources that have none of the values.</param>
public sealed record ValueCriterion(SearchParam Parameter, IReadOnlyList<SearchValue> AnyOf, bool Not = false, Facet Facet = Facet.Values) : Criterion(Parameter);

public sealed record MissingCriterion(SearchParam Parameter, bool Missing) : Criterion(Parameter);

/// <summary>Resources that refer to one which satisfies a criterion of its own type: "patient.name=ann".</summary>
/// <param name="Targets">One criterion for each type the reference may lead to; any of them will do.</param>
public sealed record ChainCriterion(SearchParam Parameter, IReadOnlyList<TargetCriterion> Targets) : Criterion(Parameter);

public sealed record TargetCriterion(string Type, Criterion Inner, SearchParam? Canonical);

/// <summary>Resources referred to by one which satisfies a criterion of its own type: "_has:Observation:patient:code=x".</summary>
/// <param name="Parameter">The reference of the other type.</param>
/// <param name="Type">The type searched.</param>
/// <param name="Canonical">The address of the searched type, where references to it may be by that.</param>
public sealed record HasCriterion(SearchParam Parameter, string Type, Criterion Inner, SearchParam? Canonical) : Criterion(Parameter);

/// <summary>What is linked to a person by any of the parameters of the compartment.</summary>
public sealed record CompartmentCriterion(IReadOnlyList<SearchParam> Links, string Address) : Criterion(Links[0]);

public sealed record SortKey(SearchParam Parameter, bool Descending);

/// <summary>Resources to send along with the matches.</summary>
/// <param name="Reverse">Those that refer to a match, not those it refers to.</param>
/// <param name="Source">The type whose references are followed; null for any.</param>
/// <param name="Parameter">The reference; null for all of the source.</param>
/// <param name="Target">Only those of this type.</param>
/// <param name="Iterate">Also from what was included itself, until nothing new comes.</param>
public sealed record Inclusion(bool Reverse, string? Source, SearchParam? Parameter, string? Target, bool Iterate);
