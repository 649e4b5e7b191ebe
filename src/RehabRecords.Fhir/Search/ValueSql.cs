using Hl7.Fhir.Model;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Fhir.Search;

/// <summary>One value against one row of the index, as SQL with parameters only.</summary>
internal sealed class ValueSql(DateTimeOffset now, Dialect? dialect)
{
    /// <summary>Turning a unit into base units rounds; what differs by less than this part of it is the same.</summary>
    private const double Rounding = 1e-9;

    private readonly List<object> _values = [];
    private int _aliases;

    public object[] Values => [.. _values];

    public string Add(object value)
    {
        _values.Add(value);
        return $"@p{_values.Count - 1}";
    }

    public string Alias() => $"x{_aliases++}";

    public string Among(IReadOnlyList<int> keys) => keys.Count == 1 ? "=" + Add(keys[0]) : $" IN ({string.Join(", ", keys.Select(k => Add(k)))})";

    public string AnyOf(IReadOnlyList<SearchValue> values, string row) =>
        values.Count == 1 ? "(" + Is(values[0], row) + ")" : "(" + string.Join(" OR ", values.Select(v => "(" + Is(v, row) + ")")) + ")";

    public string IsUpdated(DateValue date, string resource) => DateIs(date, $"{resource}.updated", $"({resource}.updated + 1000)");

    public static string TableOf(ValueCriterion criterion) => criterion.Facet switch
    {
        Facet.Text => "string_row",
        Facet.Identifier or Facet.OfType => "token_row",
        _ => TableOf(criterion.Parameter.Kind),
    };

    public static string TableOf(SearchParamType kind) => kind switch
    {
        SearchParamType.Token => "token_row",
        SearchParamType.Date => "date_row",
        SearchParamType.Reference => "reference_row",
        SearchParamType.String => "string_row",
        SearchParamType.Uri => "uri_row",
        SearchParamType.Composite => "pair_row",
        _ => "quantity_row",
    };

    private string Is(SearchValue value, string row) => value switch
    {
        IdValue id => $"{row}.id={Add(id.Id)}",
        TokenValue token => TokenIs(token, $"{row}.system", $"{row}.code"),
        OfTypeValue typed => $"{row}.code={Add(LongText.Short(IndexValues.OfType(typed.Code, typed.Value)))} AND {row}.system={Add(LongText.Short(typed.System))}",
        DateValue date => DateIs(date, $"{row}.start", $"{row}.finish"),
        ReferenceValue reference => ReferenceIs(reference, row),
        StringValue { Match: TextMatch.Exact } text => $"{Beginning(row, FoldedText.Of(text.Text))}{row}.folded={Add(FoldedText.Of(text.Text))} AND {row}.exact={Add(text.Text)}",
        StringValue { Match: TextMatch.Contains } text => $"{row}.folded LIKE {Add("%" + Like(FoldedText.Of(text.Text)) + "%")} ESCAPE '\\'",
        StringValue text => TextStartsWith(row, FoldedText.Of(text.Text)),
        UriValue { Match: UriMatch.Below } uri => StartsWith($"{row}.value", uri.Uri),
        UriValue { Match: UriMatch.Above } uri => $"{row}.value IN ({string.Join(", ", Above(uri.Uri).Select(u => Add(LongText.Short(u))))})",
        UriValue uri => $"{row}.value={Add(LongText.Short(uri.Uri))}",
        QuantityValue quantity => QuantityIs(quantity, row),
        CompositeValue pair => $"{TokenIs(pair.First, $"{row}.first_system", $"{row}.first_code")} AND ({(pair.Second is StringValue text ? StartsWith($"{row}.folded", FoldedText.Of(text.Text)) : Is(pair.Second, row))})",
        _ => throw new InvalidOperationException($"A search value of kind {value.GetType().Name} has no SQL."),
    };

    private string TokenIs(TokenValue token, string system, string code) => token switch
    {
        { System: null } => $"{code}={Add(LongText.Short(token.Code!))}",
        { Code: null } => $"{system}={Add(LongText.Short(token.System))}",
        _ => $"{code}={Add(LongText.Short(token.Code))} AND {system}={Add(LongText.Short(token.System))}",
    };

    /// <summary>Where an index has only the beginning of a text, what is longer is looked up by that and then compared whole.</summary>
    private string TextStartsWith(string row, string text) =>
        text.Length <= Dialect.Beginning ? StartsWith(dialect?.FoundBy(row) ?? $"{row}.folded", text) : Beginning(row, text) + StartsWith($"{row}.folded", text);

    private string Beginning(string row, string text) =>
        dialect?.FoundBy(row) is { } column && column != $"{row}.folded" ? $"{column}={Add(text.Length <= Dialect.Beginning ? text : text[..Dialect.Beginning])} AND " : "";

    public string Together(string alias, string other) => dialect?.Together(alias, other) ?? "";

    /// <summary>Whether there is a row.</summary>
    /// <param name="forEach">Asked about few rows, so that each is looked up by itself.</param>
    public string Exists(string rows, bool forEach) => forEach && dialect is not null ? dialect.ExistsForEach(rows) : $"EXISTS ({rows})";

    /// <summary>A column that only tests rows, and is not to lead to them.</summary>
    public string Tested(string column) => dialect?.Tested(column) ?? column;

    private string StartsWith(string column, string text) => $"{column}>={Add(text)} AND {column}<{Add(text + "\U0010FFFF")}";

    private static string Like(string text) => text.Replace("\\", "\\\\", StringComparison.Ordinal).Replace("%", "\\%", StringComparison.Ordinal).Replace("_", "\\_", StringComparison.Ordinal);

    /// <summary>The address itself and each address that it lies below, with and without a slash at the end.</summary>
    private static IEnumerable<string> Above(string uri)
    {
        yield return uri;
        var start = uri.IndexOf("://", StringComparison.Ordinal) is var at and >= 0 ? at + 3 : uri.Length;
        for (var i = uri.Length - 1; i > start; i--)
        {
            if (uri[i] != '/')
                continue;
            if (i < uri.Length - 1)
                yield return uri[..(i + 1)];
            yield return uri[..i];
        }
    }

    private string ReferenceIs(ReferenceValue reference, string row)
    {
        var targets = reference.Targets.Count switch
        {
            0 => "1=0",
            1 => $"{row}.target={Add(LongText.Short(reference.Targets[0]))}",
            _ => $"{row}.target IN ({string.Join(", ", reference.Targets.Select(t => Add(LongText.Short(t))))})",
        };
        return reference.Version is null ? targets : $"{targets} AND {row}.version={Add(LongText.Short(reference.Version))}";
    }

    private string DateIs(DateValue date, string start, string finish)
    {
        string Contained() => $"({start}>={Add(date.Start)} AND {finish}<={Add(date.Finish)})";
        switch (date.Comparison)
        {
            case Comparison.Eq:
                return Contained();
            case Comparison.Ne:
                return $"NOT {Contained()}";
            case Comparison.Gt:
                return $"{finish}>{Add(date.Finish)}";
            case Comparison.Lt:
                return $"{start}<{Add(date.Start)}";
            case Comparison.Ge:
                return $"({finish}>{Add(date.Finish)} OR {Contained()})";
            case Comparison.Le:
                return $"({start}<{Add(date.Start)} OR {Contained()})";
            case Comparison.Sa:
                return $"{start}>={Add(date.Finish)}";
            case Comparison.Eb:
                return $"{finish}<={Add(date.Start)}";
            default:
                // "Approximately" is a tenth of the way from the date to now, as R4 suggests.
                var slack = Math.Abs(DateRange.Microseconds(now) - date.Start) / 10;
                return $"({start}<{Add(date.Finish + slack)} AND {finish}>{Add(date.Start - slack)})";
        }
    }

    private string QuantityIs(QuantityValue quantity, string row)
    {
        var asWritten = Compare(quantity.Comparison, $"{row}.low", $"{row}.high", quantity.Value, quantity.Low, quantity.High, 0);
        if (quantity.System is not null)
            asWritten += $" AND {row}.system={Add(LongText.Short(quantity.System))} AND {row}.code={Add(LongText.Short(quantity.Unit ?? ""))}";
        else if (quantity.Unit is not null)
            asWritten += $" AND ({row}.code={Add(LongText.Short(quantity.Unit))} OR {row}.unit={Add(quantity.Unit)})";
        if (quantity.InBase is not { } b)
            return asWritten;
        // What is in the same unit is compared as it is written, exactly.
        var inBase = Compare(quantity.Comparison, $"{row}.base_low", $"{row}.base_high", b.Value, b.Low, b.High, Rounding);
        return $"({asWritten}) OR ({row}.base={Add(b.Unit)} AND {row}.code<>{Add(quantity.Unit!)} AND {inBase})";
    }

    private string Compare(Comparison comparison, string low, string high, double value, double from, double to, double rounding)
    {
        var slack = Math.Abs(value) * rounding;
        string Contained() => $"({low}>={Add(from - slack)} AND {high}<{Add(to - slack)})";
        return comparison switch
        {
            Comparison.Eq => Contained(),
            Comparison.Ne => $"NOT {Contained()}",
            Comparison.Gt => $"{high}>{Add(value + slack)}",
            Comparison.Lt => $"{low}<{Add(value - slack)}",
            Comparison.Ge => $"{high}>={Add(value - slack)}",
            Comparison.Le => $"{low}<={Add(value + slack)}",
            Comparison.Sa => $"{low}>{Add(value + slack)}",
            Comparison.Eb => $"{high}<{Add(value - slack)}",
            _ => $"({low}<={Add(to + slack)} AND {high}>={Add(from - slack)})",
        };
    }
}
