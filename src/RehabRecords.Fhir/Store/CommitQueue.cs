using System.Collections.Concurrent;
using System.Data.Common;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Search;

namespace RehabRecords.Fhir.Store;

/// <summary>
/// A writer that takes whole groups of waiting sets: one durable commit for a group, a savepoint for each set. A caller
/// hears of its result only after the commit, so nothing is acknowledged that a power cut could take. Connections of
/// their own per request would starve one another at the write lock, for seconds.
/// </summary>
internal sealed class CommitQueue : IDisposable
{
    private const int LongestQueue = 4096;
    private const int MostTries = 3;

    private readonly Dialect _dialect;
    private readonly BlockingCollection<Pending> _waiting = new(LongestQueue);
    private readonly Thread _writer;

    public CommitQueue(Dialect dialect)
    {
        _dialect = dialect;
        _writer = new Thread(Write) { IsBackground = true, Name = "record writer" };
        _writer.Start();
    }

    /// <summary>Why the last group could not be written; null once one was again.</summary>
    public string? Fault { get; private set; }

    /// <summary>Edition of the index that this program makes; once it is set, nothing is written to a store that has another.</summary>
    public string? Edition { get; set; }

    public Task<CommitResult> CommitAsync(PreparedSet set, CancellationToken ct) => EnqueueAsync(new Pending(s => SetWriter.Apply(s, set), ct) { Made = set.Made, MayRepeat = true }, r => (CommitResult)r);

    public Task<T> EnqueueAsync<T>(Func<Session, T> work, CancellationToken ct)
        where T : notnull => EnqueueAsync(new Pending(s => work(s), ct), r => (T)r);

    public void Dispose()
    {
        _waiting.CompleteAdding();
        _writer.Join();
        _waiting.Dispose();
    }

    private async Task<T> EnqueueAsync<T>(Pending pending, Func<object, T> result)
    {
        bool accepted;
        try
        {
            accepted = _waiting.TryAdd(pending);
        }
        catch (InvalidOperationException)
        {
            throw Unavailable("The record is being closed.");
        }

        if (!accepted)
            throw Unavailable("Too many requests wait to be written.");
        RecordMeter.Waiting.Add(1);
        try
        {
            return result(await pending.Done.Task);
        }
        finally
        {
            RecordMeter.Waiting.Add(-1);
        }
    }

    private static RefusedException Unavailable(string why, string what = "Nothing was stored; please try again in a minute.") =>
        new(Refusal.Unavailable, OperationOutcome.IssueType.Transient, $"{why} {what}");

    private void Write()
    {
        Session? session = null;
        var group = new List<Pending>(_dialect.LargestGroup);
        foreach (var first in _waiting.GetConsumingEnumerable())
        {
            group.Clear();
            group.Add(first);
            while (group.Count < _dialect.LargestGroup && _waiting.TryTake(out var next))
                group.Add(next);
            var began = TimeProvider.System.GetTimestamp();
            for (var tries = 1; !TryCommit(ref session, group, tries); tries++)
                Thread.Sleep(50 * (tries - 1));
            RecordMeter.Commit.Record(TimeProvider.System.GetElapsedTime(began).TotalSeconds);
            foreach (var pending in group)
                pending.Complete();
        }

        session?.Dispose();
    }

    /// <summary>False when it is worth another try. Else each of the group has its outcome.</summary>
    private bool TryCommit(ref Session? session, List<Pending> group, int tries)
    {
        var committing = false;
        try
        {
            session ??= new Session(_dialect.OpenWriter(), _dialect);
            Apply(session, group);
            committing = true;
            session.Run("COMMIT");
            Fault = null;
            return true;
        }
        catch (Exception e)
        {
            // Whatever went wrong, the writer lives on; but the connection's view of the file is not to be trusted after a
            // failed write, so the next group opens a new one.
            session?.Dispose();
            session = null;
            Fault = e.Message;
            var committed = committing ? IsCommitted(group) : false;
            if (committed == true)
                return true;
            if (committed == false && tries < MostTries && e is DbException db && _dialect.IsPassing(db) && group.TrueForAll(p => p.MayRepeat))
            {
                group.ForEach(p => p.Outcome = null);
                return false;
            }

            var answer = committed == false
                ? Unavailable("The record cannot be written at present.")
                : Unavailable("The connection to the record was lost while this was being stored, and whether it was is not known yet.", "Send it again with the same idempotency key: what was stored is then not stored twice.");
            // Those who came meanwhile would wait for the same in turn.
            while (_waiting.TryTake(out var next))
                group.Add(next);
            group.ForEach(p => p.Outcome = answer);
            return true;
        }
    }

    private void Apply(Session session, List<Pending> group)
    {
        var facts = _dialect.BeginWrite(session);
        foreach (var pending in group)
        {
            if (pending.Cancelled)
                continue;
            if (Objection(pending, facts) is { } objection)
            {
                pending.Outcome = objection;
                continue;
            }

            session.BeginPart();
            try
            {
                pending.Outcome = pending.Work(session);
                session.EndPart();
            }
            catch (DbException e) when (_dialect.EndsTransaction(e))
            {
                throw;
            }
            catch (Exception e)
            {
                pending.Outcome = e is DbException db ? _dialect.Refusal(db) ?? e : e;
                session.TakeBackPart();
            }
        }
    }

    private Exception? Objection(Pending pending, StoreFacts facts)
    {
        if (Edition is not null && facts.Index != Edition)
            return Unavailable("Another version of this program has changed the record's index; this one must be started again before it can write.");
        return pending.Made is { } made && DateRange.Microseconds(made) <= facts.Horizon ? new TooEarlyException(facts.Horizon) : null;
    }

    /// <summary>
    /// When the answer to a commit did not come: waits for the turn of a writer, by when the lost transaction has ended one way or the
    /// other, and looks for what it wrote. All of a group is there or none of it.
    /// </summary>
    private bool? IsCommitted(List<Pending> group)
    {
        try
        {
            using var session = new Session(_dialect.OpenWriter(), _dialect);
            _dialect.BeginWrite(session);
            var written = group.Select(p => p.Outcome).OfType<CommitResult>().SelectMany(r => r.Written).FirstOrDefault();
            bool? committed = written is not null
                ? session.One(
                    "SELECT 1 FROM version WHERE seq=@p0 AND type=@p1 AND id=@p2 AND version=@p3 AND updated=@p4",
                    written.Sequence, written.Type, written.Id, written.Version, DateRange.Microseconds(written.LastUpdated)) is not null
                // Nothing was to be written; else it is work that is done again by whoever asked for it.
                : group.TrueForAll(p => p.MayRepeat) ? true : null;
            session.Run("ROLLBACK");
            return committed;
        }
        catch (Exception e)
        {
            Fault = e.Message;
            return null;
        }
    }

    private sealed class Pending(Func<Session, object> work, CancellationToken ct)
    {
        public Func<Session, object> Work => work;

        /// <summary>The time that is written in it.</summary>
        public DateTimeOffset? Made { get; init; }

        /// <summary>Whether the work may be done once more when its transaction was lost.</summary>
        public bool MayRepeat { get; init; }

        public TaskCompletionSource<object> Done { get; } = new(TaskCreationOptions.RunContinuationsAsynchronously);

        /// <summary>A result or an exception.</summary>
        public object? Outcome { get; set; }

        public bool Cancelled => ct.IsCancellationRequested;

        public void Complete()
        {
            if (Outcome is null)
                Done.SetCanceled(ct);
            else if (Outcome is Exception e)
                Done.SetException(e);
            else
                Done.SetResult(Outcome);
        }
    }
}
