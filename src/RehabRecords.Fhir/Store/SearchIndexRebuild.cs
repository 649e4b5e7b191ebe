using System.Globalization;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Search;

namespace RehabRecords.Fhir.Store;

/// <summary>
/// When search definitions changed since a store was written, its index is made again from the stored bytes before the
/// store is opened: an index that lacks rows would give wrong answers without a sign of it. Goes on where it was when
/// stopped halfway. From its first step on, other processes that have the store open with the old definitions can still read and
/// are refused when they write; several that make it anew at once share the work.
/// </summary>
internal static class SearchIndexRebuild
{
    private const int Step = 200;

    public static async Task WhereOutdatedAsync(CommitQueue writers, SearchIndexer indexer, CancellationToken ct)
    {
        if (await writers.EnqueueAsync(s => Begin(s, indexer.Fingerprint), ct))
            return;
        while (await writers.EnqueueAsync(s => Next(s, indexer), ct) > 0)
        {
        }

        await writers.EnqueueAsync(
            s =>
            {
                s.Run("DELETE FROM fact WHERE name LIKE 'index%'");
                return StoreFacts.Keep(s, StoreFacts.IndexName, indexer.Fingerprint);
            },
            ct);
    }

    /// <summary>True where the index is as it should be.</summary>
    private static bool Begin(Session session, string edition)
    {
        if (StoreFacts.Of(session, StoreFacts.IndexName) is var found && found == edition)
            return true;
        StoreFacts.Keep(session, StoreFacts.IndexName, Making(edition));
        return false;
    }

    private static int Next(Session session, SearchIndexer indexer)
    {
        if (StoreFacts.Of(session, StoreFacts.IndexName) == indexer.Fingerprint)
            return 0;
        var place = $"index {indexer.Fingerprint} up to";
        var from = StoreFacts.Of(session, place) is { } text ? long.Parse(text, CultureInfo.InvariantCulture) : 0;
        var rows = session.Rows(
            "SELECT r.num, r.person, v.json FROM resource r JOIN version v ON v.seq=r.seq AND v.person=r.person WHERE r.num>@p0 AND r.deleted=0 ORDER BY r.num LIMIT @p1",
            r => (Num: r.GetInt64(0), Person: r.GetInt64(1), Json: r.GetFieldValue<byte[]>(2)),
            from,
            Step);
        var made = new IndexRows[rows.Count];
        Parallel.For(0, rows.Count, i => made[i] = indexer.Index(ResourceReader.Trusted<Resource>(rows[i].Json)));
        for (var i = 0; i < rows.Count; i++)
        {
            SetWriter.DropRows(session, rows[i].Num, rows[i].Person);
            SetWriter.PutRows(session, rows[i].Num, rows[i].Person, made[i]);
            // Identifiers are kept in the same short form as codes.
            foreach (var claim in made[i].Claims)
                if (LongText.Short(claim.System) is var system && LongText.Short(claim.Value) is var value && (system, value) != (claim.System, claim.Value))
                    session.Run("UPDATE claim SET system=@p0, value=@p1 WHERE system=@p2 AND value=@p3", system, value, claim.System, claim.Value);
        }

        if (rows.Count > 0)
            StoreFacts.Keep(session, place, rows[^1].Num.ToString(CultureInfo.InvariantCulture));
        return rows.Count;
    }

    private static string Making(string edition) => "making " + edition;
}
