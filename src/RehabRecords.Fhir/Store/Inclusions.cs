using Hl7.Fhir.Model;
using RehabRecords.Fhir.Search;

namespace RehabRecords.Fhir.Store;

/// <summary>What is sent along with the matches of a page: what they refer to, and what refers to them.</summary>
internal static class Inclusions
{
    private const int Most = 1000;

    /// <summary>None twice, and none that is a match. Null when there are too many, or they are too long.</summary>
    public static List<RecordVersion>? Of(Session session, SearchParameters parameters, SearchQuery query, IReadOnlyList<RecordVersion> matches, long mostBytes)
    {
        var found = new List<RecordVersion>();
        if (query.Inclusions.Count == 0)
            return found;
        var seen = matches.Select(m => m.Address).ToHashSet(StringComparer.Ordinal);
        var bytes = 0L;
        List<RecordVersion> sources = [.. matches];
        var all = query.Inclusions;
        while (sources.Count > 0 && all.Count > 0)
        {
            var fresh = new List<RecordVersion>();
            foreach (var inclusion in all)
                foreach (var source in sources)
                    foreach (var one in inclusion.Reverse ? Referring(session, parameters, inclusion, source) : Referred(session, parameters, inclusion, source))
                    {
                        if (one.Deleted || !seen.Add(one.Address))
                            continue;
                        fresh.Add(one);
                        bytes += one.Json.Length;
                        if (found.Count + fresh.Count > Most || bytes > mostBytes)
                            return null;
                    }

            found.AddRange(fresh);
            sources = fresh;
            all = [.. query.Inclusions.Where(i => i.Iterate)];
        }

        return found;
    }

    public static RefusedException TooMany() => new(
        Refusal.TooLarge,
        OperationOutcome.IssueType.TooCostly,
        $"What would be sent along with a single match is more than {Most} resources, or longer than a page may be. Search for it by itself, page by page.");

    private static IEnumerable<RecordVersion> Referred(Session session, SearchParameters parameters, Inclusion inclusion, RecordVersion source)
    {
        if (inclusion.Source is not null && inclusion.Source != source.Type)
            yield break;
        IReadOnlyList<SearchParam> followed = inclusion.Parameter is { } one ? [one] : [.. parameters.For(source.Type).Where(p => p is { Kind: SearchParamType.Reference, HasRows: true })];
        if (followed.Count == 0)
            yield break;
        var targets = session.Rows(
            $"SELECT DISTINCT x.target, x.version FROM resource r JOIN reference_row x ON x.res=r.num WHERE r.type=@p0 AND r.id=@p1 AND x.parameter IN ({Numbers(followed.SelectMany(f => f.Keys))})",
            r => (Target: r.GetString(0), Version: r.GetString(1)),
            source.Type,
            source.Id);
        foreach (var (target, version) in targets)
            foreach (var found in ReferenceTypes.Split(target) is { Base: "" } local ? At(session, local.Type, local.Id) : ByAddress(session, parameters, target, version))
                if (inclusion.Target is null || inclusion.Target == found.Type)
                    yield return found;
    }

    private static IEnumerable<RecordVersion> At(Session session, string type, string id) => RecordReads.Current(session, type, id) is { } version ? [version] : [];

    /// <summary>Definitions are referred to by the address that they call their own, with or without a version.</summary>
    private static List<RecordVersion> ByAddress(Session session, SearchParameters parameters, string address, string version)
    {
        var urls = Addresses(parameters).ToList();
        return address.Length == 0 || urls.Count == 0 ? [] : session.Rows(
            $"SELECT {RecordReads.Columns} FROM uri_row u JOIN resource r ON r.num=u.res JOIN version v ON v.seq=r.seq AND v.person=r.person WHERE u.parameter IN ({Numbers(urls.Select(u => u.Url.Key))}) AND u.value=@p0 "
            + $"AND (@p1='' OR EXISTS (SELECT 1 FROM token_row t WHERE t.res=u.res AND t.parameter IN ({Numbers(urls.Select(u => u.Version.Key))}) AND t.code=@p1)) ORDER BY v.seq LIMIT {Most + 1}",
            r => RecordReads.Version(r, 0),
            address,
            IndexValues.Code(version));
    }

    private static IEnumerable<RecordVersion> Referring(Session session, SearchParameters parameters, Inclusion inclusion, RecordVersion source)
    {
        if (inclusion.Target is not null && inclusion.Target != source.Type)
            return [];
        var numbers = Numbers(inclusion switch
        {
            { Parameter: { } one } => one.Keys,
            { Source: { } type } => parameters.For(type).Where(p => p is { Kind: SearchParamType.Reference, HasRows: true }).Select(p => p.Key),
            _ => parameters.PointingAt(source.Type),
        });
        if (numbers.Length == 0)
            return [];
        var referring = $"SELECT DISTINCT {RecordReads.Columns} FROM reference_row d JOIN resource r ON r.num=d.res JOIN version v ON v.seq=r.seq AND v.person=r.person WHERE d.parameter IN ({numbers}) AND d.target=@p0";
        IEnumerable<RecordVersion> found = session.Rows($"{referring} ORDER BY v.seq LIMIT {Most + 1}", r => RecordReads.Version(r, 0), source.Address);
        if (Addresses(parameters).FirstOrDefault(a => a.Url.Type == source.Type) is not { Url: { } url, Version: { } version })
            return found;
        foreach (var own in session.Rows(
            "SELECT u.value, (SELECT t.code FROM token_row t WHERE t.res=u.res AND t.parameter=@p3 ORDER BY t.code LIMIT 1) FROM resource r JOIN uri_row u ON u.res=r.num WHERE r.type=@p0 AND r.id=@p1 AND u.parameter=@p2",
            r => (Address: r.GetString(0), Version: r.IsDBNull(1) ? "" : r.GetString(1)),
            source.Type,
            source.Id,
            url.Key,
            version.Key))
            found = found.Concat(session.Rows($"{referring} AND (d.version='' OR lower(d.version)=@p1) ORDER BY v.seq LIMIT {Most + 1}", r => RecordReads.Version(r, 0), own.Address, own.Version));
        return found;
    }

    private static IEnumerable<(SearchParam Url, SearchParam Version)> Addresses(SearchParameters parameters) =>
        from kind in parameters.Registry.Kinds
        let url = parameters.Find(kind.Type, "url")
        let version = parameters.Find(kind.Type, "version")
        where url is not null && version is not null
        select (url, version);

    private static string Numbers(IEnumerable<int> keys) => string.Join(", ", keys);
}
