using RehabRecords.Fhir.Search;

namespace RehabRecords.Fhir.Store;

/// <summary>Which resources of a snapshot are wanted.</summary>
/// <param name="OfPeople">Only what is about a person, or follows what is.</param>
/// <param name="Since">Only what changed after this time.</param>
public sealed record SnapshotScope(bool OfPeople, DateTimeOffset? Since);

/// <summary>The record at one moment, for reads too long for memory. One thread at a time; dispose it soon.</summary>
public sealed class RecordSnapshot : IDisposable
{
    private readonly Session _session;
    private readonly Dialect _dialect;
    private readonly SearchParameters _parameters;
    private readonly Action _closed;
    private bool _disposed;

    internal RecordSnapshot(Session session, Dialect dialect, SearchParameters parameters, DateTimeOffset at, Action closed)
    {
        _session = session;
        _dialect = dialect;
        _parameters = parameters;
        _closed = closed;
        At = at;
    }

    /// <summary>Everything written up to this time is in it, and nothing later.</summary>
    public DateTimeOffset At { get; }

    /// <summary>How many current resources of a type there are in the scope.</summary>
    public long Count(string type, SnapshotScope scope) => (long)_session.One($"SELECT count(*) FROM resource r WHERE {Where(scope)} AND r.deleted=0", type, Since(scope))!;

    /// <summary>The current resources of a type, in the order in which they were last changed.</summary>
    public IEnumerable<RecordVersion> Current(string type, SnapshotScope scope) =>
        _session.Each($"SELECT {RecordReads.Columns} FROM resource r JOIN version v ON v.seq=r.seq AND v.person=r.person WHERE {Where(scope)} AND r.deleted=0 ORDER BY r.updated, r.num", r => RecordReads.Version(r, 0), type, Since(scope));

    /// <summary>What was deleted and is so still, by its deletion.</summary>
    public IEnumerable<RecordVersion> Deleted(string type, SnapshotScope scope) =>
        _session.Each($"SELECT {RecordReads.Columns} FROM resource r JOIN version v ON v.seq=r.seq AND v.person=r.person WHERE {Where(scope)} AND r.deleted=1 ORDER BY r.updated, r.num", r => RecordReads.Version(r, 0), type, Since(scope));

    /// <summary>Finds all that belongs to the record of one person; null when there never was such a person.</summary>
    public PersonRecord? OfPerson(string patientId) =>
        RecordReads.Current(_session, "Patient", patientId) is null ? null : PersonRecord.Gather(_session, _dialect, _parameters, patientId);

    /// <summary>What erasing a person's record would take; nothing is changed.</summary>
    /// <param name="people">Ids of the Patients: one, and those that were merged into it.</param>
    public ErasurePlan PlanErasure(IReadOnlyList<string> people) => ErasureSet.Gather(_session, _dialect, _parameters, people).Plan(_session);

    public void Dispose()
    {
        if (_disposed)
            return;
        _disposed = true;
        _session.Dispose();
        _closed();
    }

    private string Where(SnapshotScope scope) => "r.type=@p0 AND r.updated>@p1" + (!scope.OfPeople ? "" : $" AND (r.person<>0 OR {FollowsSomebody})");

    /// <summary>True of what names nobody but speaks of something that does, such as provenance.</summary>
    private string FollowsSomebody
    {
        get
        {
            var (type, id) = _dialect.Parts("x.target");
            return $"EXISTS (SELECT 1 FROM reference_row x JOIN resource t ON t.type={type} AND t.id={id} "
                + $"WHERE x.res=r.num AND x.parameter IN ({string.Join(',', _parameters.Compartment.Following.Select(f => f.Key).DefaultIfEmpty(0))}) AND t.person<>0)";
        }
    }

    private static long Since(SnapshotScope scope) => scope.Since is { } since ? DateRange.Microseconds(since) : long.MinValue;
}
