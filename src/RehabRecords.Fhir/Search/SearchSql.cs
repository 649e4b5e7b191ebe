using System.Text;
using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Search;

/// <summary>
/// A query as SQL with parameters only. One criterion, the one likely to leave the fewest, drives; the others are looked
/// up for each row it gives. Engines without statistics would else have to guess.
/// </summary>
internal sealed class SearchSql
{
    // "NaN" cannot be: these stand for "has no such date" and come last either way.
    private const long Last = long.MaxValue;
    private const long First = long.MinValue;

    private readonly SearchQuery _query;
    private readonly DateTimeOffset _now;
    private readonly List<object> _values = [];
    private readonly string _found;
    private readonly Criterion? _driver;
    private readonly string _num;

    public SearchSql(SearchQuery query, DateTimeOffset now)
    {
        _query = query;
        _now = now;
        _driver = query.Criteria.Any(c => c.Parameter.Code == "_id")
            ? null
            : query.Criteria.Where(c => !c.Parameter.IsOwnColumn && Rank(c) < int.MaxValue).MinBy(Rank);
        _num = _driver is null ? "r.num" : "d.res";
        _found = Found();
    }

    /// <summary>Sort keys of a row, as columns k0, k1 … of the page.</summary>
    public int Keys => _query.Sort.Count;

    public object[] Values => [.. _values];

    public string Total => $"SELECT COUNT(*) FROM ({_found}) f";

    /// <summary>One row more than asked for tells that there is a next page.</summary>
    /// <param name="after">Keys and number of the last row of the page before.</param>
    public string Page(IReadOnlyList<object>? after, int limit)
    {
        var sql = new StringBuilder("SELECT m.num");
        for (var i = 0; i < Keys; i++)
            sql.Append($", m.k{i}");
        sql.Append(", v.seq, v.type, v.id, v.version, v.deleted, v.updated, v.json FROM (");
        if (Keys == 0)
        {
            // In the order of the rows' own numbers an index gives the page without looking at what comes after it.
            sql.Append(_found).Append(after is null ? "" : $" AND {_num}>{Add(after[0])}").Append($" ORDER BY {_num}");
        }
        else
        {
            sql.Append("SELECT * FROM (").Append(_found).Append(") f").Append(after is null ? "" : " WHERE " + After(after)).Append(" ORDER BY ").Append(Order("f"));
        }

        sql.Append($" LIMIT {Add(limit)}) m JOIN resource r ON r.num=m.num JOIN version v ON v.seq=r.seq ORDER BY ").Append(Order("m"));
        return sql.ToString();
    }

    private static int Rank(Criterion criterion) => criterion switch
    {
        ValueCriterion { Not: true } or MissingCriterion { Missing: true } => int.MaxValue,
        { Parameter.Code: "_id" } => 0,
        { Parameter.Code: "identifier" } => 1,
        { Parameter.Code: "patient" } => 2,
        ValueCriterion { Parameter.Kind: SearchParamType.Reference } => 3,
        { Parameter.Code: "code" } => 5,
        ValueCriterion { Parameter.Kind: SearchParamType.Uri } => 4,
        ValueCriterion { Parameter.Kind: SearchParamType.String } => 6,
        ValueCriterion { Parameter.Kind: SearchParamType.Token } => 7,
        { Parameter.Code: "_lastUpdated" } => 9,
        _ => 8,
    };

    private static string TableOf(Criterion criterion) => criterion is ValueCriterion { ByIdentifier: true } ? "token_row" : criterion.Parameter.Kind switch
    {
        SearchParamType.Token => "token_row",
        SearchParamType.Date => "date_row",
        SearchParamType.Reference => "reference_row",
        SearchParamType.String => "string_row",
        SearchParamType.Uri => "uri_row",
        _ => "quantity_row",
    };

    private string Add(object value)
    {
        _values.Add(value);
        return $"@p{_values.Count - 1}";
    }

    private string Found()
    {
        var needsResource = _driver is null || _query.Criteria.Any(c => c.Parameter.IsOwnColumn) || _query.Sort.Any(s => s.Parameter.IsOwnColumn);
        var sql = new StringBuilder(_driver is null ? "SELECT " : "SELECT DISTINCT ").Append(_num).Append(" AS num");
        for (var i = 0; i < _query.Sort.Count; i++)
            sql.Append(", ").Append(SortValue(_query.Sort[i])).Append($" AS k{i}");
        if (_driver is null)
        {
            sql.Append(" FROM resource r WHERE r.type=").Append(Add(_query.Type)).Append(" AND r.deleted=0");
        }
        else
        {
            sql.Append(" FROM ").Append(TableOf(_driver)).Append(" d").Append(needsResource ? " JOIN resource r ON r.num=d.res" : "");
            sql.Append(" WHERE ").Append(Matches(_driver, "d"));
        }

        foreach (var criterion in _query.Criteria.Where(c => !ReferenceEquals(c, _driver)))
        {
            if (criterion.Parameter.IsOwnColumn)
            {
                sql.Append(" AND ").Append(AnyOf((ValueCriterion)criterion, "r"));
                continue;
            }

            var absent = criterion is ValueCriterion { Not: true } or MissingCriterion { Missing: true };
            sql.Append(absent ? " AND NOT EXISTS (SELECT 1 FROM " : " AND EXISTS (SELECT 1 FROM ").Append(TableOf(criterion)).Append(" e WHERE e.res=").Append(_num)
                .Append(" AND ").Append(Matches(criterion, "e")).Append(')');
        }

        return sql.ToString();
    }

    private string SortValue(SortKey key) => key.Parameter.Code switch
    {
        "_id" => "r.id",
        "_lastUpdated" => "r.updated",
        _ when key.Descending => $"COALESCE((SELECT MAX(s.finish) FROM date_row s WHERE s.res={_num} AND s.parameter{Among(key.Parameter.Keys)}), {Add(First)})",
        _ => $"COALESCE((SELECT MIN(s.start) FROM date_row s WHERE s.res={_num} AND s.parameter{Among(key.Parameter.Keys)}), {Add(Last)})",
    };

    private string Order(string alias) =>
        string.Concat(_query.Sort.Select((s, i) => $"{alias}.k{i}{(s.Descending ? " DESC" : "")}, ")) + $"{alias}.num";

    /// <summary>Rows that come after the given one in the order: a later first key, or the same and a later second …</summary>
    private string After(IReadOnlyList<object> after)
    {
        var alternatives = new List<string>();
        var same = "";
        for (var i = 0; i <= Keys; i++)
        {
            var column = i == Keys ? "f.num" : $"f.k{i}";
            var at = Add(after[i]);
            alternatives.Add($"({same}{column} {(i < Keys && _query.Sort[i].Descending ? "<" : ">")} {at})");
            same += $"{column}={at} AND ";
        }

        return "(" + string.Join(" OR ", alternatives) + ")";
    }

    private string Matches(Criterion criterion, string row)
    {
        var keys = criterion is ValueCriterion { ByIdentifier: true } ? [criterion.Parameter.IdentifierKey] : criterion.Parameter.Keys;
        // The "+" keeps a planner from driving by a criterion that is only to be looked up: it hides the index by value.
        var isParameter = $"{(row == "e" ? "+" : "")}{row}.parameter{Among(keys)}";
        return criterion is ValueCriterion c ? $"{isParameter} AND {AnyOf(c, row)}" : isParameter;
    }

    private string Among(IReadOnlyList<int> keys) => keys.Count == 1 ? "=" + Add(keys[0]) : $" IN ({string.Join(", ", keys.Select(k => Add(k)))})";

    private string AnyOf(ValueCriterion criterion, string row) =>
        criterion.AnyOf.Count == 1
            ? "(" + Is(criterion.AnyOf[0], row) + ")"
            : "(" + string.Join(" OR ", criterion.AnyOf.Select(v => "(" + Is(v, row) + ")")) + ")";

    private string Is(SearchValue value, string row) => value switch
    {
        IdValue id => $"{row}.id={Add(id.Id)}",
        TokenValue { System: null } token => $"{row}.code={Add(token.Code!)}",
        TokenValue { Code: null } token => $"{row}.system={Add(token.System!)}",
        TokenValue token => $"{row}.code={Add(token.Code!)} AND {row}.system={Add(token.System!)}",
        DateValue date when row == "r" => DateIs(date, "r.updated", "(r.updated + 1000)"),
        DateValue date => DateIs(date, $"{row}.start", $"{row}.finish"),
        ReferenceValue reference => ReferenceIs(reference, row),
        StringValue { Match: TextMatch.Exact } text => $"{row}.folded={Add(FoldedText.Of(text.Text))} AND {row}.exact={Add(text.Text)}",
        StringValue { Match: TextMatch.Contains } text => $"{row}.folded LIKE {Add("%" + Like(FoldedText.Of(text.Text)) + "%")} ESCAPE '\\'",
        StringValue text => $"{row}.folded>={Add(FoldedText.Of(text.Text))} AND {row}.folded<{Add(FoldedText.Of(text.Text) + "\U0010FFFF")}",
        UriValue uri => $"{row}.value={Add(uri.Uri)}",
        QuantityValue quantity => QuantityIs(quantity, row),
        _ => throw new InvalidOperationException($"A search value of kind {value.GetType().Name} has no SQL."),
    };

    private static string Like(string text) => text.Replace("\\", "\\\\", StringComparison.Ordinal).Replace("%", "\\%", StringComparison.Ordinal).Replace("_", "\\_", StringComparison.Ordinal);

    private string ReferenceIs(ReferenceValue reference, string row)
    {
        var targets = reference.Targets.Count == 1
            ? $"{row}.target={Add(reference.Targets[0])}"
            : $"{row}.target IN ({string.Join(", ", reference.Targets.Select(t => Add(t)))})";
        return reference.Version is null ? targets : $"{targets} AND {row}.version={Add(reference.Version)}";
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
                var slack = Math.Abs(DateRange.Microseconds(_now) - date.Start) / 10;
                return $"({start}<{Add(date.Finish + slack)} AND {finish}>{Add(date.Start - slack)})";
        }
    }

    private string QuantityIs(QuantityValue quantity, string row)
    {
        string Contained() => $"({row}.low>={Add(quantity.Low)} AND {row}.high<{Add(quantity.High)})";
        var comparison = quantity.Comparison switch
        {
            Comparison.Eq => Contained(),
            Comparison.Ne => $"NOT {Contained()}",
            Comparison.Gt => $"{row}.high>{Add(quantity.Value)}",
            Comparison.Lt => $"{row}.low<{Add(quantity.Value)}",
            Comparison.Ge => $"{row}.high>={Add(quantity.Value)}",
            Comparison.Le => $"{row}.low<={Add(quantity.Value)}",
            Comparison.Sa => $"{row}.low>{Add(quantity.Value)}",
            Comparison.Eb => $"{row}.high<{Add(quantity.Value)}",
            _ => $"({row}.low<={Add(quantity.High)} AND {row}.high>={Add(quantity.Low)})",
        };
        if (quantity.System is not null)
            comparison += $" AND {row}.system={Add(quantity.System)} AND {row}.code={Add(quantity.Unit ?? "")}";
        else if (quantity.Unit is not null)
            comparison += $" AND ({row}.code={Add(quantity.Unit)} OR {row}.unit={Add(quantity.Unit)})";
        return comparison;
    }
}
