using Hl7.Fhir.Model;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Search;

namespace RehabRecords.Fhir.Store;

/// <summary>What a restore did.</summary>
/// <param name="Restored">Versions that were written.</param>
/// <param name="Present">Versions that were there already, byte for byte.</param>
public sealed record RestoreResult(long Restored, long Present);

/// <summary>
/// Writes versions as another store had them: ids, numbers, times and bytes. The one way by which a version gets into the record
/// that was not made here, so it is offered to an operator's command and to nobody else.
/// </summary>
internal static class RestoreVersions
{
    private const int Chunk = 256;

    /// <param name="versions">In the order of their commits; versions of one resource without a gap.</param>
    /// <exception cref="RefusedException">Conflict where the store has other content under the same id and version, or another resource holds an identifier. Nothing is written then.</exception>
    public static RestoreResult Apply(Session session, SearchIndexer indexer, IEnumerable<RecordVersion> versions, Action<long>? progress)
    {
        long restored = 0, present = 0;
        foreach (var chunk in versions.Chunk(Chunk))
        {
            var prepared = new PreparedWrite[chunk.Length];
            Parallel.For(0, chunk.Length, i => prepared[i] = Prepare(indexer, chunk[i]));
            for (var i = 0; i < chunk.Length; i++)
            {
                if (IsPresent(session, chunk[i]))
                    present++;
                else
                {
                    if (chunk[i].Version > 1)
                        session.Later("DELETE FROM claim WHERE type=@p0 AND id=@p1", chunk[i].Type, chunk[i].Id);
                    if (!PutRepeatedDeletion(session, chunk[i]))
                        SetWriter.Put(session, prepared[i]);
                    restored++;
                }
            }

            progress?.Invoke(restored + present);
        }

        return new RestoreResult(restored, present);
    }

    private static PreparedWrite Prepare(SearchIndexer indexer, RecordVersion version)
    {
        var resource = version.Deleted ? null : ResourceReader.Trusted<Resource>(version.Json);
        return new PreparedWrite(
            new Write(version.Type, version.Id, resource, version.Version - 1), version.LastUpdated, version.Json.ToArray(), resource is null ? new IndexRows() : indexer.Index(resource));
    }

    /// <summary>What was moved to somebody else's record and changed there is told as several deletions; no writer of our own makes two in a row.</summary>
    private static bool PutRepeatedDeletion(Session session, RecordVersion version)
    {
        if (!version.Deleted || session.One("SELECT person FROM resource WHERE type=@p0 AND id=@p1 AND version=@p2 AND deleted=1", version.Type, version.Id, version.Version - 1) is not long person)
            return false;
        var updated = DateRange.Microseconds(version.LastUpdated);
        var seq = (long)session.One(
            "INSERT INTO version (type, id, version, deleted, updated, person, json, digest) VALUES (@p0, @p1, @p2, 1, @p3, @p4, @p5, @p6) RETURNING seq",
            version.Type, version.Id, version.Version, updated, person, Array.Empty<byte>(), VersionDigest.Of(version.Type, version.Id, version.Version, true, updated, []))!;
        return session.Run("UPDATE resource SET version=@p2, updated=@p3, seq=@p4 WHERE type=@p0 AND id=@p1", version.Type, version.Id, version.Version, updated, seq) == 1;
    }

    private static bool IsPresent(Session session, RecordVersion version)
    {
        if (RecordReads.At(session, version.Type, version.Id, version.Version) is not { } here)
            return false;
        if (here.Deleted == version.Deleted && here.LastUpdated == version.LastUpdated && here.Json.Span.SequenceEqual(version.Json.Span))
            return true;
        throw new RefusedException(
            Refusal.Conflict,
            OperationOutcome.IssueType.Conflict,
            $"{version.VersionedAddress} is in the record already, with other content. Nothing was imported: what is here is never overwritten. Import into an empty store, and compare the two.",
            version.Type);
    }
}
