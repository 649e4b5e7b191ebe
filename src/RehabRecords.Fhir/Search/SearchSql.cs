using System.Text;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Fhir.Search;

/// <summary>Where a search begins.</summary>
internal enum Start
{
    /// <summary>With what satisfies the criterion that is likely to leave the fewest; the others are looked up for each.</summary>
    Criterion,

    /// <summary>With all resources of the type.</summary>
    Type,

    /// <summary>With the index of the date that is sorted by: whatever a page does not need is not looked at.</summary>
    Dated,

    /// <summary>With those that have no such date, which come last.</summary>
    Undated,
}

/// <summary>A query as SQL with parameters only.</summary>
internal sealed class SearchSql
{
    private const string PatientPrefix = "Patient/";

    private readonly SearchQuery _query;
    private readonly ValueSql _values;
    private readonly CriterionSql _criteria;
    private readonly Dialect? _dialect;
    private readonly Start _start;
    private readonly long? _person;
    private readonly bool _walksPerson;
    private readonly bool _isDivided;
    private readonly string _num;
    private readonly string _found;

    public SearchSql(SearchQuery query, DateTimeOffset now, Start start, Dialect? dialect)
    {
        _dialect = dialect;
        _query = query;
        _values = new ValueSql(now, dialect);
        _start = start;
        _isDivided = _values.Together("d", "r").Length > 0;
        _person = PersonOf(query);
        _walksPerson = start is Start.Dated or Start.Undated && WalksPerson(query);
        _criteria = new CriterionSql(_values, fewRows: _person is not null);
        _num = start is Start.Criterion or Start.Dated ? "d.res" : "r.num";
        _found = Found();
    }

    public object[] Values => _values.Values;

    public string Total => $"SELECT COUNT(*) FROM ({_found}) f";

    /// <summary>Whether a search may begin with a criterion, and with which.</summary>
    public static Criterion? Driver(SearchQuery query) =>
        query.Criteria.Any(c => c.Parameter.Code == "_id" && c is ValueCriterion) ? null : query.Criteria.Where(c => CriterionSql.Rank(c) is not null).MinBy(CriterionSql.Rank);

    /// <summary>Whether the index of the first sort key can give the order by itself.</summary>
    public static bool CanWalk(SearchQuery query) =>
        query.Sort is [{ Parameter: { Kind: SearchParamType.Date, IsOwnColumn: false, Keys.Count: 1 } }, ..] && query.Types.Count == 1
        && !query.Criteria.Any(c => c is ValueCriterion { Parameter.Code: "_id" });

    /// <summary>
    /// Whether a person's latest are asked for: the index of these is walked, however many there are. In the other direction there is no such index,
    /// since that is seldom asked.
    /// </summary>
    public static bool WalksPerson(SearchQuery query) => CanWalk(query) && query.Sort[0].Descending && PersonOf(query) is not null;

    /// <summary>Whether the first criterion gives more rows than a sort should have to take.</summary>
    public static (string Sql, object[] Values) Probe(Criterion driver, DateTimeOffset now, int atMost, Dialect? dialect)
    {
        var values = new ValueSql(now, dialect);
        return ($"SELECT COUNT(*) FROM (SELECT 1 FROM ({new CriterionSql(values).Set(driver)}) d LIMIT {atMost}) p", values.Values);
    }

    /// <summary>Numbers and sort keys k0, k1 … of the rows after a place, or of those before it in reverse.</summary>
    /// <param name="from">Keys and number of the row at the place.</param>
    /// <param name="limit">Stands in the words: a planner that does not know how few are wanted sorts everything for them.</param>
    public string Page(IReadOnlyList<object>? from, bool backwards, int limit)
    {
        if (_query.Sort.Count == 0)
        {
            // In the order of the rows' own numbers an index gives the page without looking at what comes after it.
            var place = from is null ? "" : $" AND {_num}{(backwards ? "<" : ">")}{_values.Add(from[0])}";
            return $"{_found}{place} ORDER BY {_num}{(backwards ? " DESC" : "")} LIMIT {limit}";
        }

        return $"SELECT * FROM ({_found}) f{(from is null ? "" : " WHERE " + Beyond(from, backwards))} ORDER BY {Order(backwards)} LIMIT {limit}";
    }

    /// <summary>The same, and the resource of each row beside it.</summary>
    public string PageWithResources(IReadOnlyList<object>? from, bool backwards, int limit)
    {
        var then = _dialect?.JoinInOrder ?? "JOIN";
        return $"SELECT f.*, {RecordReads.Columns} FROM ({Page(from, backwards, limit)}) f {then} resource r ON r.num=f.num {then} version v ON v.seq=r.seq AND v.person=r.person{InPart("v")} ORDER BY {Order(backwards)}";
    }

    private string Found()
    {
        var driver = _start == Start.Criterion ? Driver(_query) : null;
        var needsResource = _start is Start.Type or Start.Undated || _query.Criteria.Any(c => c.Parameter.IsOwnColumn) || _query.Sort.Any(s => s.Parameter.IsOwnColumn);
        var sql = new StringBuilder(driver is null ? "SELECT " : "SELECT DISTINCT ").Append(_num).Append(" AS num");
        for (var i = 0; i < _query.Sort.Count; i++)
            sql.Append(", ").Append(SortValue(_query.Sort[i], i)).Append($" AS k{i}");
        switch (_start)
        {
            case Start.Criterion:
                sql.Append(" FROM (").Append(_criteria.Set(driver!, withPerson: _isDivided)).Append(") d").Append(needsResource ? " JOIN resource r ON r.num=d.res" : "").Append(" WHERE 1=1").Append(OfPerson("d"));
                break;
            case Start.Dated:
                sql.Append(" FROM ").Append(Table("date_row", "d", _walksPerson ? "date_of_person" : _query.Sort[0].Descending ? "date_by_finish" : "date_by_start")).Append(needsResource ? " JOIN resource r ON r.num=d.res" : "").Append(" WHERE d.parameter").Append(_values.Among(_query.Sort[0].Parameter.Keys))
                    .Append(OfPerson("d"));
                break;
            default:
                sql.Append(" FROM ").Append(_walksPerson ? Table("resource", "r", "resource_of_person") : "resource r").Append(" WHERE r.type").Append(_query.Types.Count == 1 ? "=" + _values.Add(_query.Types[0]) : $" IN ({string.Join(", ", _query.Types.Select(t => _values.Add(t)))})")
                    .Append(" AND r.deleted=0").Append(OfPerson("r"));
                if (_start == Start.Undated)
                    sql.Append(" AND NOT ").Append(_values.Exists($"SELECT 1 FROM date_row s WHERE s.res=r.num{Beside("s", "r")} AND {_values.Tested("s.parameter")}{_values.Among(_query.Sort[0].Parameter.Keys)}", _walksPerson));
                break;
        }

        // Of rows that are found by the person nearly all are the person's, so that is looked up last.
        foreach (var criterion in _query.Criteria.Where(c => !ReferenceEquals(c, driver)).OrderBy(c => PersonOf(c) is not null))
            sql.Append(" AND ").Append(_criteria.Holds(criterion, _num, "r", InPart));
        if (_start == Start.Dated)
            sql.Append(" AND NOT ").Append(_values.Exists($"SELECT 1 FROM date_row s WHERE s.res=d.res{Beside("s", "d")} AND {_values.Tested("s.parameter")}=d.parameter AND {Ahead(_query.Sort[0].Descending)}", _walksPerson));
        if (_query.Limit is { } limit)
            sql.Append(" AND EXISTS (SELECT 1 FROM resource l WHERE l.num=").Append(_num).Append(" AND ").Append(limit.Condition("l")).Append(')');
        return sql.ToString();
    }

    /// <summary>An id alone stands for resources of any type that the parameter may point at.</summary>
    private static long? PersonAmong(IReadOnlyList<string> targets, bool peopleOnly) =>
        targets.Where(t => !peopleOnly || t.StartsWith(PatientPrefix, StringComparison.Ordinal)).ToList() is [var target] && target.StartsWith(PatientPrefix, StringComparison.Ordinal)
            ? Store.Person.Number(target[PatientPrefix.Length..])
            : null;

    /// <summary>Number of the one person all that is asked for is about, where all of it is indexed under it.</summary>
    private static long? PersonOf(SearchQuery query) => query.Criteria.Select(PersonOf).FirstOrDefault(person => person is not null);

    private static long? PersonOf(Criterion criterion) => criterion is ValueCriterion { Not: false, Facet: Facet.Values, Parameter.TellsThePerson: true, AnyOf: [ReferenceValue reference] }
        ? PersonAmong(reference.Targets, criterion.Parameter.FindsPeopleOnly)
        : null;

    private string Table(string table, string alias, string index) => _dialect?.InOrder(table, alias, index) ?? $"{table} {alias}";

    /// <summary>Said where the index is that of the person, and where tables are divided by people.</summary>
    private string OfPerson(string alias) => _person is { } person && (_walksPerson || _isDivided) ? $" AND {alias}.person={_values.Add(person)}" : "";

    /// <summary>
    /// Said of what belongs to a resource of the person, where tables are divided. It follows from the resource's own person, but that is known only
    /// row by row, when the engine has made ready to look in every part.
    /// </summary>
    private string InPart(string alias) => _isDivided ? OfPerson(alias) : "";

    /// <summary>A row of the index beside that of the same resource, and of the same person where tables are divided.</summary>
    private string Beside(string alias, string other) => _values.Together(alias, other) + InPart(alias);

    /// <summary>Of several dates of a resource the first in the order counts.</summary>
    private static string Ahead(bool descending) => descending
        ? "(s.finish>d.finish OR (s.finish=d.finish AND s.start<d.start))"
        : "(s.start<d.start OR (s.start=d.start AND s.finish<d.finish))";

    private string SortValue(SortKey key, int place)
    {
        if (key.Parameter.Code == "_id")
            return "r.id";
        if (key.Parameter.Code == "_lastUpdated")
            return "r.updated";
        if (place == 0 && _start == Start.Dated)
            return key.Descending ? "d.finish" : "d.start";
        var missing = SortKeys.Missing(key);
        if (place == 0 && _start == Start.Undated)
            return _values.Add(missing);
        var column = (key.Parameter.Kind, key.Descending) switch
        {
            (SearchParamType.Date, true) => "s.finish",
            (SearchParamType.Date, false) => "s.start",
            (SearchParamType.String, _) => "s.folded",
            (SearchParamType.Token, _) => "s.code",
            (SearchParamType.Reference, _) => "s.target",
            (SearchParamType.Uri, _) => "s.value",
            (_, true) => "COALESCE(s.base_high, s.high)",
            _ => "COALESCE(s.base_low, s.low)",
        };
        return $"COALESCE((SELECT {(key.Descending ? "MAX" : "MIN")}({column}) FROM {ValueSql.TableOf(key.Parameter.Kind)} s WHERE s.res={_num}{Beside("s", _num[..1])} AND {_values.Tested("s.parameter")}{_values.Among(key.Parameter.Keys)}), {_values.Add(missing)})";
    }

    private string Order(bool backwards) =>
        string.Concat(_query.Sort.Select((s, i) => $"f.k{i}{(s.Descending != backwards ? " DESC" : "")}, ")) + (backwards ? "f.num DESC" : "f.num");

    /// <summary>Rows that come after the given one in the order: a later first key, or the same and a later second …</summary>
    private string Beyond(IReadOnlyList<object> from, bool backwards)
    {
        string Way(int i) => (i < _query.Sort.Count && _query.Sort[i].Descending) != backwards ? "<" : ">";
        var alternatives = new List<string>();
        var same = "";
        for (var i = 0; i <= _query.Sort.Count; i++)
        {
            var column = i == _query.Sort.Count ? "f.num" : $"f.k{i}";
            var at = _values.Add(from[i]);
            alternatives.Add($"({same}{column}{Way(i)}{at})");
            same += $"{column}={at} AND ";
        }

        // Said once more by itself, so that an index can begin at the place.
        return $"f.k0{Way(0)}={_values.Add(from[0])} AND ({string.Join(" OR ", alternatives)})";
    }
}
