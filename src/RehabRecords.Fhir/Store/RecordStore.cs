using System.Runtime.CompilerServices;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Search;

namespace RehabRecords.Fhir.Store;

/// <summary>
/// The record: every version of every resource, served as the bytes that were stored. Index rows, identifier claims and
/// the answer to an idempotency key are written in the resource's own transaction.
/// </summary>
public sealed class RecordStore : IAsyncDisposable
{
    public const int UsualPartitions = 8;

    private readonly Dialect _dialect;
    private readonly SearchIndexer _indexer;
    private readonly TimeProvider _clock;
    private readonly CommitQueue _writers;
    private readonly ReadPool _readers;
    private readonly Snapshots _snapshots;
    private long _notBefore = long.MinValue;
    private readonly PeopleLimit? _limit;
    private readonly RecordStore? _whole;
    private readonly Action<RecordVersion>? _seen;
    private int _closed;

    private RecordStore(Dialect dialect, SearchIndexer indexer, TimeProvider clock)
    {
        _dialect = dialect;
        _indexer = indexer;
        _clock = clock;
        _writers = new CommitQueue(dialect);
        _readers = new ReadPool(dialect, Dialect.MostReaders);
        _snapshots = new Snapshots(dialect, clock, indexer.Parameters);
        Readings = new Readings();
    }

    private RecordStore(RecordStore whole, PeopleLimit? limit, Action<RecordVersion>? seen)
    {
        (_dialect, _indexer, _clock, _writers, _readers, _snapshots) = (whole._dialect, whole._indexer, whole._clock, whole._writers, whole._readers, whole._snapshots);
        (_limit, _seen, _whole, Readings) = (limit, seen, whole.Whole, whole.Readings);
    }

    public SearchParameters Parameters => _indexer.Parameters;

    private RecordStore Whole => _whole ?? this;

    /// <summary>What the engine promises, read back from it: for the health page and the log of a start.</summary>
    public IReadOnlyDictionary<string, string> EngineSettings => _dialect.Settings;

    /// <summary>Why the last write failed; null when writing works.</summary>
    public string? WriteFault => _writers.Fault;

    internal CommitQueue Writers => _writers;

    internal ReadPool Readers => _readers;

    internal Readings Readings { get; }

    /// <summary>Opens the record in a folder of this machine, or makes it. One process at a time.</summary>
    /// <exception cref="StoreUnusableException">The folder is in use, was written by a newer version, or cannot keep what is promised.</exception>
    public static Task<RecordStore> OpenSqliteAsync(string folder, SearchIndexer indexer, TimeProvider clock, CancellationToken ct = default) =>
        OpenAsync(SqliteDialect.Open(folder), indexer, clock, ct);

    /// <summary>Opens the record in a schema of a PostgreSQL database, or makes it. Many processes may have it open at once.</summary>
    /// <param name="connection">As Npgsql reads it: "Host=…;Database=…;Username=…;Password=…".</param>
    /// <param name="schema">Lower-case letters, digits and "_"; one for each organisation.</param>
    /// <param name="partitions">Into how many its tables are divided by person when the schema is made; later this is left as it is.</param>
    /// <exception cref="StoreUnusableException">It cannot be reached, was written by a newer version, or cannot keep what is promised.</exception>
    public static async Task<RecordStore> OpenPostgresAsync(
        string connection, string schema, SearchIndexer indexer, TimeProvider clock, int partitions = UsualPartitions, CancellationToken ct = default) =>
        await OpenAsync(PostgresDialect.Open(connection, schema, partitions), indexer, clock, ct);

    /// <summary>Whether the engine answers, soon.</summary>
    public async Task<bool> IsReachableAsync(CancellationToken ct = default)
    {
        try
        {
            // On a thread of its own: on a line that is silent the read itself returns only when its own time is over.
            return await Task.Run(() => _readers.ReadAsync(s => s.One("SELECT count(*) FROM fact") is not null, ct), ct).WaitAsync(TimeSpan.FromSeconds(3), ct);
        }
        catch (Exception e) when (e is RefusedException or TimeoutException or StoreUnusableException)
        {
            return false;
        }
    }

    /// <summary>About how much room the versions take up, in bytes.</summary>
    public Task<long> BytesAsync(CancellationToken ct = default) => _readers.ReadAsync(s => (long)s.One(_dialect.Size)!, ct);

    /// <summary>
    /// The same store for one caller: disposing it closes nothing, and where <paramref name="people"/> are named, it holds
    /// the records of these only, whatever is asked of it.
    /// </summary>
    /// <param name="seen">Told of every version that is given out.</param>
    public RecordStore View(IReadOnlySet<string>? people = null, Action<RecordVersion>? seen = null) => new(this, people is null ? _limit : new PeopleLimit(people), seen ?? _seen);

    /// <summary>The current version; a deleted resource is returned as such.</summary>
    public Task<RecordVersion?> ReadAsync(string type, string id, CancellationToken ct = default) => _readers.ReadAsync(s => Shown(s, RecordReads.Current(s, type, id)), ct);

    /// <summary>Those of the resources that are there, each with whether it was deleted. What they tell is given to nobody.</summary>
    public Task<Dictionary<(string Type, string Id), bool>> WhetherDeletedAsync(IReadOnlyCollection<(string Type, string Id)> resources, CancellationToken ct = default) =>
        _readers.ReadAsync(s => RecordReads.WhetherDeleted(s, resources, _limit), ct);

    public Task<RecordVersion?> ReadVersionAsync(string type, string id, int version, CancellationToken ct = default) => _readers.ReadAsync(s => Shown(s, RecordReads.At(s, type, id, version)), ct);

    /// <summary>Newest first, deletions among them; empty when there never was such a resource.</summary>
    public async Task<IReadOnlyList<RecordVersion>> HistoryAsync(string type, string id, CancellationToken ct = default) => await _readers.ReadAsync(s => Shown(s, RecordReads.History(s, type, id)), ct);

    /// <summary>A page of the history of a resource, a type or everything.</summary>
    public Task<HistoryPage> HistoryAsync(HistoryQuery query, CancellationToken ct = default) => _readers.ReadAsync(
        s =>
        {
            var page = RecordHistory.Page(s, query with { Limit = _limit });
            return _seen is null ? page : page with { Versions = Shown(s, [.. page.Versions]) };
        },
        ct);

    public Task<SearchPage> SearchAsync(SearchQuery query, CancellationToken ct = default) => _readers.ReadAsync(
        s =>
        {
            var page = SearchReads.Search(s, Parameters, query with { Limit = _limit }, _clock.GetUtcNow());
            if (_limit is null && _seen is null)
                return page;
            return page with { Matches = Shown(s, [.. page.Matches]), Included = Shown(s, [.. page.Included]) };
        },
        ct);

    /// <summary>All matches of a query such as "subject=Patient/1&amp;category=therapy", oldest resource first unless it sorts.</summary>
    public async Task<IReadOnlyList<RecordVersion>> FindAsync(string type, string query, CancellationToken ct = default) => (await FindAsync([(type, query)], ct))[0];

    /// <summary>The same of several queries, in their order, all of one moment: no commit lies between them.</summary>
    public Task<IReadOnlyList<RecordVersion>[]> FindAsync(IReadOnlyCollection<(string Type, string Query)> queries, CancellationToken ct = default)
    {
        var parsed = queries.Select(q => SearchQuery.Parse(Parameters, q.Type, q.Query) with { Limit = _limit }).ToList();
        var now = _clock.GetUtcNow();
        return _readers.ReadAsync(s => s.AtOneMoment(() => parsed.Select(q => (IReadOnlyList<RecordVersion>)Shown(s, SearchReads.All(s, q, now))).ToArray()), ct);
    }

    /// <summary>
    /// Everything of a person's record (see <see cref="PatientCompartment"/>) as it is at this moment, by type, id and version:
    /// the current version of each resource, or all versions with deletions among them.
    /// </summary>
    /// <param name="afterAddress">Type/id of the resource after which to begin; what lies before is not read.</param>
    public async IAsyncEnumerable<RecordVersion> OfPatientAsync(
        string patientId, bool allVersions, string? afterAddress = null, [EnumeratorCancellation] CancellationToken ct = default)
    {
        if (_limit?.Has(patientId) == false)
            yield break;
        var members = await _readers.ReadAsync(s => PatientRecord.Find(s, Parameters.Compartment, Parameters, patientId, afterAddress), ct);
        for (var (next, after) = (0, 0); next < members.Resources.Count;)
        {
            var (from, version) = (next, after);
            (var versions, next, after) = await _readers.ReadAsync(s => PatientRecord.Turn(s, members, from, version, allVersions), ct);
            foreach (var one in versions)
            {
                _seen?.Invoke(one);
                yield return one;
            }
        }
    }

    /// <summary>Place of the last commit; 0 in an empty store. What is read from here on holds at least all up to it.</summary>
    public Task<long> LastSequenceAsync(CancellationToken ct = default) => _readers.ReadAsync(RecordChanges.Last, ct);

    /// <summary>Versions of the given types that were committed after a place in the order of commits, in that order, at most so many.</summary>
    public async Task<IReadOnlyList<RecordVersion>> ChangesAfterAsync(long sequence, IReadOnlyList<string> types, int limit, CancellationToken ct = default) =>
        await _readers.ReadAsync(s => Shown(s, RecordChanges.After(s, sequence, types, limit)), ct);

    /// <summary>Id of the resource that holds a business identifier, or null.</summary>
    /// <exception cref="RefusedException">Ambiguous, for a RelatedPerson: the same carer of several people.</exception>
    public Task<string?> HolderOfAsync(string type, string system, string value, CancellationToken ct = default) =>
        HolderOfAsync(type, system, value, null, ct);

    /// <param name="patientId">For a RelatedPerson: whose carer is meant.</param>
    public Task<string?> HolderOfAsync(string type, string system, string value, string? patientId, CancellationToken ct = default) =>
        _readers.ReadAsync(s => RecordReads.Holder(s, type, system, value, patientId) is { } id && (_limit is null || (RecordReads.Current(s, type, id) is { } held && _limit.Shows(s, held))) ? id : null, ct);

    /// <exception cref="RefusedException">The key was used with another body.</exception>
    public Task<StoredAnswer?> AnswerOfAsync(IdempotencyKey key, CancellationToken ct = default) => _readers.ReadAsync(s => Answers.Find(s, key), ct);

    /// <summary>By id of a Patient, when something of the record last took place, by the dates of the given parameters; people without any are left out.</summary>
    /// <param name="now">What is later does not count.</param>
    public Task<Dictionary<string, DateTimeOffset>> LatestDatesAsync(IEnumerable<(string Type, string Code)> by, DateTimeOffset now, CancellationToken ct = default) =>
        _readers.ReadAsync(s => LatestDates.Read(s, Parameters, by, now), ct);

    /// <summary>The current versions of what is about a Patient, or refers to it in a way that is searched for.</summary>
    public async Task<IReadOnlyList<RecordVersion>> ReferrersAsync(string patientAddress, CancellationToken ct = default) => await _readers.ReadAsync(
        s => Shown(s, s.Rows(
            $"SELECT {RecordReads.Columns} FROM resource r JOIN version v ON v.seq=r.seq AND v.person=r.person WHERE r.deleted=0 AND (r.person=@p0 OR r.num IN (SELECT x.res FROM reference_row x WHERE x.target=@p1 AND x.version='')) ORDER BY r.num",
            r => RecordReads.Version(r, 0), Person.Number(patientAddress["Patient/".Length..]), patientAddress)),
        ct);

    /// <summary>Forgets answers that were made before the given time for clients whose names begin with a word and a space.</summary>
    public Task<int> ForgetAnswersAsync(string word, DateTimeOffset before, CancellationToken ct = default) =>
        // What begins with "word " lies from there to "word!", the next sign.
        _writers.EnqueueAsync(s => s.Run("DELETE FROM answer WHERE made<@p0 AND client>=@p1 AND client<@p2", DateRange.Microseconds(before), word + " ", word + "!"), ct);

    /// <summary>
    /// Commits all of a set or none of it. Puts version and time into the resources' meta. When the key of the set was
    /// seen before with the same body, nothing is written and the earlier answer is returned.
    /// </summary>
    /// <exception cref="RefusedException">StaleVersion, Gone, Conflict, KeyReused or Unavailable; nothing was stored.</exception>
    public async Task<CommitResult> CommitAsync(WriteSet set, CancellationToken ct = default)
    {
        while (true)
        {
            var prepared = await PrepareAsync(set, ct);
            try
            {
                return await _writers.CommitAsync(prepared, ct);
            }
            catch (TooEarlyException early)
            {
                Interlocked.Exchange(ref Whole._notBefore, early.NotBefore.UtcTicks);
            }
            catch (RefusedException held) when (_limit is not null && held.Refusal == Refusal.Conflict && held.Issues.Any(i => i.Code == OperationOutcome.IssueType.Duplicate))
            {
                // Who holds it may be nobody the caller may know of.
                throw new RefusedException(Refusal.Conflict, OperationOutcome.IssueType.Duplicate, "An identifier of what was sent is in use already. Give another one.");
            }
        }
    }

    /// <summary>The record as it is now, for a long read. Dispose it when done.</summary>
    /// <exception cref="RefusedException">Unavailable: too many are open.</exception>
    public Task<RecordSnapshot> SnapshotAsync(CancellationToken ct = default) => _limit is null ? _snapshots.TakeAsync(ct)
        : throw new RefusedException(Refusal.NotPermitted, OperationOutcome.IssueType.Forbidden, "Exports are made by callers who may see the whole record of the organisation.");

    /// <summary>Writes versions as another store had them, all or none, in one transaction; other writers wait meanwhile.</summary>
    /// <inheritdoc cref="RestoreVersions.Apply"/>
    public Task<RestoreResult> RestoreAsync(IEnumerable<RecordVersion> versions, Action<long>? progress = null, CancellationToken ct = default) =>
        _writers.EnqueueAsync(s => RestoreVersions.Apply(s, _indexer, versions, progress), ct);

    /// <summary>Gives every AuditEvent that has none its link in the chain; the last link there is now.</summary>
    public async Task<AuditLink> ExtendAuditChainAsync(CancellationToken ct = default)
    {
        while (await _writers.EnqueueAsync(s => AuditChain.Extend(s), ct) > 0)
        {
        }

        return await _readers.ReadAsync(AuditChain.Head, ct);
    }

    /// <summary>Whether the audit trail is as it was written.</summary>
    /// <param name="anchors">Links that were noted elsewhere.</param>
    public Task<AuditVerdict> VerifyAuditChainAsync(IReadOnlyCollection<AuditLink> anchors, CancellationToken ct = default) => _readers.ReadAsync(s => s.AtOneMoment(() => AuditChain.Verify(s, anchors)), ct);

    /// <summary>Takes a person's record out of the store, all of it or nothing; what is left is the tombstone.</summary>
    /// <exception cref="RefusedException">Conflict: the record is not what was confirmed.</exception>
    public async Task<Tombstone> EraseAsync(ErasureOrder order, CancellationToken ct = default)
    {
        var tombstone = await _writers.EnqueueAsync(s => Erasure.Apply(s, _dialect, _indexer, order), ct);
        Readings.Forget();
        return tombstone;
    }

    /// <summary>Oldest first.</summary>
    public Task<IReadOnlyList<Tombstone>> TombstonesAsync(CancellationToken ct = default) => _readers.ReadAsync(Tombstones.All, ct);

    /// <summary>The key by which this store hashes erased addresses; null before the first erasure.</summary>
    public async Task<string?> ErasureKeyAsync(CancellationToken ct = default) => (await _readers.ReadAsync(s => new Box<string?>(Tombstones.Key(s)), ct)).Value;

    /// <summary>When what had this address was erased; null for what never was.</summary>
    public async Task<DateTimeOffset?> ErasedAtAsync(string type, string id, CancellationToken ct = default) =>
        _limit is null ? (await _readers.ReadAsync(s => new Box<DateTimeOffset?>(Tombstones.ErasedAt(s, $"{type}/{id}")), ct)).Value : null;

    /// <summary>Ids of all Patients there ever were, deleted ones among them.</summary>
    public async Task<IReadOnlyList<string>> PatientIdsAsync(CancellationToken ct = default) => await _readers.ReadAsync(s => s.Rows("SELECT id FROM resource WHERE type='Patient' ORDER BY id", r => r.GetString(0)), ct);

    /// <summary>Removes from the engine's files what deleted rows left in them: what costs little, or by writing them anew, during which nobody can use them.</summary>
    /// <param name="patience">How long to wait for those who began to read before.</param>
    /// <returns>False when something may be left: somebody was reading all the while, or the engine needs the whole.</returns>
    public Task<bool> ClearRemainsAsync(bool all, TimeSpan patience, CancellationToken ct = default) => Task.Run(() => _dialect.ClearRemains(all, patience), ct);

    /// <summary>Does all that a commit does and takes it back, so that whatever would refuse the set refuses it here.</summary>
    /// <exception cref="RefusedException">As <see cref="CommitAsync"/>.</exception>
    public async Task TryAsync(WriteSet set, CancellationToken ct = default)
    {
        var prepared = await PrepareAsync(set, ct);
        try
        {
            await _writers.EnqueueAsync<CommitResult>(
                s =>
                {
                    var result = SetWriter.Apply(s, prepared);
                    s.Flush();
                    throw new TakenBackException(result);
                },
                ct);
        }
        catch (TakenBackException)
        {
            // The queue rolls back the savepoint of whatever throws.
        }
    }

    private sealed class TakenBackException(CommitResult result) : Exception($"{result.Written.Count} writes were tried and taken back.");

    /// <summary>What waits to be written is still written.</summary>
    public ValueTask DisposeAsync()
    {
        if (_whole is not null || Interlocked.Exchange(ref _closed, 1) == 1)
            return ValueTask.CompletedTask;
        _writers.Dispose();
        _readers.Dispose();
        _snapshots.Dispose();
        Readings.Dispose();
        _dialect.Dispose();
        return ValueTask.CompletedTask;
    }

    internal static async Task<RecordStore> OpenAsync(Dialect dialect, SearchIndexer indexer, TimeProvider clock, CancellationToken ct)
    {
        RecordStore? store = null;
        try
        {
            SchemaSteps.BringUpToDate(dialect);
            store = new RecordStore(dialect, indexer, clock);
            await MissingDigests.WriteAsync(store._writers, ct);
            await SearchIndexRebuild.WhereOutdatedAsync(store._writers, indexer, ct);
            store._writers.Edition = indexer.Fingerprint;
            return store;
        }
        catch
        {
            if (store is not null)
                await store.DisposeAsync();
            else
                dialect.Dispose();
            throw;
        }
    }

    private async Task<PreparedSet> PrepareAsync(WriteSet set, CancellationToken ct)
    {
        if (set.Keys.Count > 0 && set.Answer is null)
            throw new ArgumentException("A set with an idempotency key says what to answer to it.", nameof(set));
        if (set.Writes.GroupBy(w => (w.Type, w.Id)).FirstOrDefault(g => g.Count() > 1) is { Key: var (type, id) })
            throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.Invariant, $"{type}/{id} is written twice in one request. Send the final state once.");
        var now = Millisecond.Of(_clock.GetUtcNow());
        if (Interlocked.Read(ref Whole._notBefore) is var earliest && now.UtcTicks < earliest)
            now = new DateTimeOffset(earliest, TimeSpan.Zero);
        set.Seal?.Invoke(now);
        var writes = new List<PreparedWrite>(set.Writes.Count);
        foreach (var write in set.Writes)
            writes.Add(Prepare(write, await TimeAfterAsync(write, now, ct)));
        if (_limit is { } limit)
            await _readers.ReadAsync(s => limit.RefuseOthers(s, writes), ct);
        return new PreparedSet(writes, set.Keys, set.Answer, now);
    }

    /// <summary>A clock that was set back must not make a later version look older: the time of a stated version never changes, so it can be read beforehand.</summary>
    private async Task<DateTimeOffset> TimeAfterAsync(Write write, DateTimeOffset now, CancellationToken ct)
    {
        if (write.FromVersion == 0)
            return now;
        var before = await _readers.ReadAsync(s => new Box<DateTimeOffset?>(RecordReads.UpdatedAt(s, write.Type, write.Id, write.FromVersion)), ct);
        return before.Value is { } earlier && earlier > now ? earlier : now;
    }

    private PreparedWrite Prepare(Write write, DateTimeOffset updated)
    {
        if (write.Resource is not { } resource)
            return new PreparedWrite(write, updated, [], new IndexRows()) { Pointers = Parameters.PointingAt(write.Type) };
        resource.Meta ??= new Meta();
        resource.Meta.VersionId = (write.FromVersion + 1).ToString(System.Globalization.CultureInfo.InvariantCulture);
        resource.Meta.LastUpdated = updated;
        return new PreparedWrite(write, updated, ResourceWriter.Json(resource), _indexer.Index(resource));
    }

    private RecordVersion? Shown(Session session, RecordVersion? version)
    {
        if (version is null || (_limit is not null && !_limit.Shows(session, version)))
            return null;
        _seen?.Invoke(version);
        return version;
    }

    private List<RecordVersion> Shown(Session session, List<RecordVersion> versions)
    {
        var shown = _limit is null ? versions : versions.FindAll(v => _limit.Shows(session, v));
        if (_seen is not null)
            shown.ForEach(_seen);
        return shown;
    }

    private sealed record Box<T>(T Value);
}
