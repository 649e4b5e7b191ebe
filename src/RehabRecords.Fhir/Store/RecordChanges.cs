namespace RehabRecords.Fhir.Store;

/// <summary>What was committed after a place in the order of commits: for views that follow the record without reading it all again.</summary>
internal static class RecordChanges
{
    public static long Last(Session session) => (long)session.One("SELECT coalesce(max(seq), 0) FROM version")!;

    public static List<RecordVersion> After(Session session, long sequence, IReadOnlyList<string> types, int limit)
    {
        var names = string.Join(", ", types.Select((_, i) => $"@p{i + 1}"));
        return session.Rows(
            $"SELECT {RecordReads.Columns} FROM version v WHERE v.seq>@p0 AND v.type IN ({names}) ORDER BY v.seq LIMIT {limit}",
            r => RecordReads.Version(r, 0),
            [sequence, .. types]);
    }
}
