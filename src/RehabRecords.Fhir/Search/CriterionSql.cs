using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Search;

/// <summary>
/// A criterion as SQL, in two ways: as a question about one resource, and as the set of all that satisfy it, from which
/// a search can start.
/// </summary>
/// <param name="fewRows">Whether the rows that are asked about are those of one person, so that each is looked up by itself.</param>
internal sealed class CriterionSql(ValueSql values, bool fewRows = false)
{
    /// <summary>How few a criterion is likely to leave, for engines without statistics; lower is fewer. Null: no search can start from it.</summary>
    public static int? Rank(Criterion criterion) => criterion switch
    {
        ValueCriterion { Not: true } or MissingCriterion { Missing: true } => null,
        { Parameter.IsOwnColumn: true } => null,
        ChainCriterion { Targets: [{ Inner.Parameter.Code: "_id" or "identifier" }] } => 2,
        ValueCriterion { Parameter.Code: "identifier", Facet: Facet.Values } => 1,
        ValueCriterion { Parameter.Code: "patient" } => 2,
        CompartmentCriterion => 2,
        ValueCriterion { Parameter.Kind: SearchParamType.Reference } => 3,
        ValueCriterion { Parameter.Kind: SearchParamType.Uri } => 4,
        ValueCriterion { Parameter.Kind: SearchParamType.Composite } => 5,
        ChainCriterion or HasCriterion => 5,
        ValueCriterion { Parameter.Code: "code" } => 6,
        ValueCriterion { Parameter.Kind: SearchParamType.String } => 7,
        ValueCriterion { Parameter.Kind: SearchParamType.Token } => 8,
        _ => 9,
    };

    /// <summary>Numbers of all resources that satisfy it, perhaps some twice, in a column "res".</summary>
    /// <param name="withPerson">With a column "person" beside it, by which what belongs to a resource is found in its partition.</param>
    public string Set(Criterion criterion, bool withPerson = false)
    {
        switch (criterion)
        {
            case HasCriterion has:
                return HasSet(has, withPerson);
            case CompartmentCriterion compartment:
                var link = Rows("reference_row", withPerson, row => $"{row}.parameter{values.Among([.. compartment.Links.SelectMany(l => l.Keys)])} AND {row}.target={values.Add(compartment.Address)}");
                return compartment.Links.Any(l => l.Type == "Patient")
                    ? $"{link} UNION SELECT r.num AS res{Person("r", withPerson)} FROM resource r WHERE r.type='Patient' AND r.id={values.Add(compartment.Address["Patient/".Length..])}"
                    : link;
            default:
                return Rows(TableOf(criterion), withPerson, row => Matches(criterion, row, byValue: true));
        }
    }

    /// <summary>Whether a resource satisfies it.</summary>
    /// <param name="num">Its number.</param>
    /// <param name="resource">Its row.</param>
    /// <param name="also">What more is so of a row of the index, by its alias.</param>
    public string Holds(Criterion criterion, string num, string resource, Func<string, string>? also = null)
    {
        switch (criterion)
        {
            case ValueCriterion { Parameter.Code: "_id" } id:
                return values.AnyOf(id.AnyOf, resource);
            case ValueCriterion { Parameter.Code: "_lastUpdated" } updated:
                return "(" + string.Join(" OR ", updated.AnyOf.Select(v => values.IsUpdated((DateValue)v, resource))) + ")";
            case HasCriterion or CompartmentCriterion:
                return $"{num} IN ({Set(criterion)})";
            default:
                var row = values.Alias();
                var absent = criterion is ValueCriterion { Not: true } or MissingCriterion { Missing: true };
                var rows = $"SELECT 1 FROM {TableOf(criterion)} {row} WHERE {row}.res={num}{values.Together(row, num.Split('.')[0])}{also?.Invoke(row)} AND {Matches(criterion, row, byValue: false)}";
                return (absent ? "NOT " : "") + values.Exists(rows, fewRows && criterion is not ChainCriterion);
        }
    }

    /// <summary>Addresses of what the references of a chain may lead to, in a column "address".</summary>
    public string Addresses(ChainCriterion chain) => string.Join(" UNION ", chain.Targets.Select(t => Addresses(t)));

    private static string Person(string alias, bool wanted) => wanted ? $", {alias}.person" : "";

    private string Rows(string table, bool withPerson, Func<string, string> matches)
    {
        var row = values.Alias();
        return $"SELECT {row}.res AS res{Person(row, withPerson)} FROM {table} {row} WHERE {matches(row)}";
    }

    private string Matches(Criterion criterion, string row, bool byValue)
    {
        var keys = criterion switch
        {
            ValueCriterion { Facet: Facet.Identifier } => criterion.Parameter.Under(p => p.IdentifierKey),
            ValueCriterion { Facet: Facet.Text } => criterion.Parameter.Under(p => p.TextKey),
            ValueCriterion { Facet: Facet.OfType } => criterion.Parameter.Under(p => p.OfTypeKey),
            _ => criterion.Parameter.Keys,
        };
        var isParameter = $"{(byValue ? $"{row}.parameter" : values.Tested($"{row}.parameter"))}{values.Among(keys)}";
        return criterion switch
        {
            ValueCriterion c => $"{isParameter} AND {values.AnyOf(c.AnyOf, row)}",
            ChainCriterion chain => $"{isParameter} AND ({string.Join(" OR ", chain.Targets.SelectMany(t => LeadsTo(t, row)))})",
            _ => isParameter,
        };
    }

    private static string TableOf(Criterion criterion) => criterion is ValueCriterion value ? ValueSql.TableOf(value) : ValueSql.TableOf(criterion.Parameter.Kind);

    /// <summary>A reference leads to a resource by type and id, or by the address that the resource calls its own.</summary>
    private IEnumerable<string> LeadsTo(TargetCriterion target, string row)
    {
        yield return $"{row}.target IN ({Addresses(target)})";
        if (target.Canonical is not { } url)
            yield break;
        var (address, version) = (values.Alias(), values.Alias());
        yield return $"EXISTS (SELECT 1 FROM uri_row {address} WHERE {address}.parameter={values.Add(url.Key)} AND {address}.value={row}.target AND {IsVersion(url, row, address, version)} "
            + $"AND {address}.res IN ({All(target.Type, target.Inner)}))";
    }

    private string Addresses(TargetCriterion target)
    {
        var to = values.Alias();
        return $"SELECT {to}.type || '/' || {to}.id AS address FROM resource {to} WHERE {to}.num IN ({All(target.Type, target.Inner)})";
    }

    private string HasSet(HasCriterion has, bool withPerson)
    {
        var (row, to) = (values.Alias(), values.Alias());
        var prefix = has.Type + "/";
        var byAddress = $"SELECT {to}.num AS res{Person(to, withPerson)} FROM reference_row {row} JOIN resource {to} ON {to}.type={values.Add(has.Type)} AND {to}.id=substr({row}.target, {prefix.Length + 1}) "
            + $"WHERE {row}.parameter{values.Among(has.Parameter.Keys)} AND substr({row}.target, 1, {prefix.Length})={values.Add(prefix)} AND {row}.res IN ({All(has.Parameter.Type, has.Inner)})";
        if (has.Canonical is not { } url)
            return byAddress;
        var (other, address, version) = (values.Alias(), values.Alias(), values.Alias());
        return byAddress + $" UNION SELECT {address}.res AS res{Person(address, withPerson)} FROM reference_row {other} JOIN uri_row {address} ON {address}.parameter={values.Add(url.Key)} AND {address}.value={other}.target "
            + $"WHERE {other}.parameter{values.Among(has.Parameter.Keys)} AND {IsVersion(url, other, address, version)} AND {other}.res IN ({All(has.Parameter.Type, has.Inner)})";
    }

    private string IsVersion(SearchParam url, string row, string address, string alias) =>
        $"({row}.version='' OR EXISTS (SELECT 1 FROM token_row {alias} WHERE {alias}.res={address}.res AND {alias}.parameter={values.Add(StableHash.Of32(url.Type + "?version"))} AND {alias}.code=lower({row}.version)))";

    /// <summary>Numbers of the resources of a type that satisfy a criterion.</summary>
    private string All(string type, Criterion criterion)
    {
        if (Rank(criterion) is not null)
            return Set(criterion);
        var resource = values.Alias();
        return $"SELECT {resource}.num FROM resource {resource} WHERE {resource}.type={values.Add(type)} AND {resource}.deleted=0 AND {Holds(criterion, resource + ".num", resource)}";
    }
}
