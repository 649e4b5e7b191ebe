using Hl7.Fhir.Model;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Search;

namespace RehabRecords.Fhir.Store;

/// <summary>
/// When search definitions changed since a store was written, its index is made again from the stored bytes before the
/// store is opened: an index that lacks rows would give wrong answers without a sign of it. Goes on where it was when
/// stopped halfway.
/// </summary>
internal static class SearchIndexRebuild
{
    private const int Step = 200;

    public static async Task WhereOutdatedAsync(ReadPool readers, CommitQueue writers, SearchIndexer indexer, CancellationToken ct)
    {
        if (await readers.ReadAsync(s => Fact(s, "index"), ct) == indexer.Fingerprint)
            return;
        var doneAt = $"index {indexer.Fingerprint} up to";
        var done = await readers.ReadAsync(s => Fact(s, doneAt), ct) is { } text ? long.Parse(text, System.Globalization.CultureInfo.InvariantCulture) : 0;
        while (true)
        {
            var from = done;
            var rows = await readers.ReadAsync(
                s => s.Rows(
                    "SELECT r.num, r.person, v.json FROM resource r JOIN version v ON v.seq=r.seq WHERE r.num>@p0 AND r.deleted=0 ORDER BY r.num LIMIT @p1",
                    r => (Num: r.GetInt64(0), Person: r.GetInt64(1), Json: r.GetFieldValue<byte[]>(2)),
                    from,
                    Step),
                ct);
            if (rows.Count == 0)
                break;
            done = rows[^1].Num;
            var made = rows.Select(r => (r.Num, r.Person, Rows: indexer.Index(ResourceReader.Trusted<Resource>(r.Json)))).ToList();
            await writers.EnqueueAsync(
                s =>
                {
                    foreach (var (num, person, index) in made)
                    {
                        SetWriter.DropRows(s, num);
                        SetWriter.PutRows(s, num, person, index);
                    }

                    return Keep(s, doneAt, done.ToString(System.Globalization.CultureInfo.InvariantCulture));
                },
                ct);
        }

        await writers.EnqueueAsync(
            s =>
            {
                s.Run("DELETE FROM fact WHERE name LIKE 'index%'");
                return Keep(s, "index", indexer.Fingerprint);
            },
            ct);
    }

    private static string? Fact(Session session, string name) => (string?)session.One("SELECT value FROM fact WHERE name=@p0", name);

    private static int Keep(Session session, string name, string value) =>
        session.Run("INSERT INTO fact (name, value) VALUES (@p0, @p1) ON CONFLICT (name) DO UPDATE SET value=excluded.value", name, value);
}
