using RehabRecords.Fhir.Search;

namespace RehabRecords.Fhir.Store;

/// <summary>
/// Everything of one person, as it stood at one commit: what belongs to it is asked once, as numbers only, and then read
/// in short turns, so that a slow receiver holds neither a connection nor the log of the store.
/// </summary>
internal static class PatientRecord
{
    /// <summary>Bytes after which a turn ends: a turn holds one version in the least and this in the most.</summary>
    private const int TurnBytes = 1_000_000;

    public sealed record Members(long LastCommit, IReadOnlyList<long> Resources);

    /// <summary>Numbers of the resources, by type and id; those deleted are among them.</summary>
    /// <param name="after">Address (Type/id) of the last resource that is not wanted any more; null for all.</param>
    public static Members Find(Session session, PatientCompartment compartment, SearchParameters parameters, string patient, string? after = null)
    {
        var last = (long)session.One("SELECT COALESCE(MAX(seq), 0) FROM version")!;
        var linked = string.Join(',', compartment.Keys.DefaultIfEmpty(0));
        var following = string.Join(',', compartment.Following.Select(f => f.Key).DefaultIfEmpty(0));
        var own = "SELECT num, type, id FROM resource WHERE person=@p0 "
            + $"UNION SELECT r.num, r.type, r.id FROM reference_row x JOIN resource r ON r.num=x.res WHERE x.parameter IN ({linked}) AND x.target=@p1";
        var all = session.Rows(
            $"WITH own AS ({own}) SELECT num, type, id FROM own "
            + "UNION SELECT r.num, r.type, r.id FROM own o JOIN reference_row x ON x.target=o.type || '/' || o.id "
            + $"AND x.parameter IN ({following}) JOIN resource r ON r.num=x.res ORDER BY type, id",
            r => (Num: r.GetInt64(0), Type: r.GetString(1), Id: r.GetString(2)),
            Person.Number(patient),
            "Patient/" + patient);
        var files = Files(session, parameters, own, patient).Where(f => !all.Contains(f)).ToList();
        var ordered = files.Count == 0 ? all : [.. all.Concat(files).OrderBy(a => a.Type, StringComparer.Ordinal).ThenBy(a => a.Id, StringComparer.Ordinal)];
        return new Members(last, [.. ordered.Where(a => after is null || IsAfter(a.Type, a.Id, after.Split('/'))).Select(a => a.Num)]);
    }

    private static bool IsAfter(string type, string id, string[] place) =>
        string.CompareOrdinal(type, place[0]) is var byType && (byType > 0 || (byType == 0 && string.CompareOrdinal(id, place[1]) > 0));

    /// <summary>The versions of some of the resources from a place on, and the place at which to go on.</summary>
    public static (List<RecordVersion> Versions, int Next, int After) Turn(Session session, Members members, int from, int afterVersion, bool allVersions)
    {
        var versions = new List<RecordVersion>();
        var bytes = 0;
        for (var i = from; i < members.Resources.Count; i++, afterVersion = 0)
        {
            while (true)
            {
                if (bytes >= TurnBytes)
                    return (versions, i, afterVersion);
                var (condition, order) = allVersions ? ("v.version>@p2", "v.version") : ("v.seq>@p2", "v.version DESC");
                var one = session.Rows(
                    $"SELECT {RecordReads.Columns} FROM resource r JOIN version v ON v.type=r.type AND v.id=r.id WHERE r.num=@p0 AND v.seq<=@p1 AND {condition} ORDER BY {order} LIMIT 1",
                    r => RecordReads.Version(r, 0),
                    members.Resources[i],
                    members.LastCommit,
                    afterVersion);
                if (one is not [var version])
                    break;
                if (allVersions || !version.Deleted)
                    versions.Add(version);
                bytes += version.Json.Length;
                afterVersion = version.Version;
                if (!allVersions)
                    break;
            }
        }

        return (versions, members.Resources.Count, 0);
    }

    /// <summary>Only relative addresses are followed: the bytes behind another server's address are not of this record.</summary>
    private static IEnumerable<(long Num, string Type, string Id)> Files(Session session, SearchParameters parameters, string own, string patient)
    {
        if (parameters.Find("DocumentReference", "location") is not { } location)
            yield break;
        var addresses = session.Rows(
            $"WITH own AS ({own}) SELECT DISTINCT u.value FROM own o JOIN uri_row u ON u.res=o.num WHERE o.type='DocumentReference' AND u.parameter=@p2",
            r => r.GetString(0),
            Person.Number(patient),
            "Patient/" + patient,
            location.Key);
        foreach (var address in addresses)
            if (ReferenceTypes.Split(address) is { Base: "", Type: "Binary" } file && session.One("SELECT num FROM resource WHERE type='Binary' AND id=@p0", file.Id) is long num)
                yield return (num, "Binary", file.Id);
    }
}
