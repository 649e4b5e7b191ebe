using System.Collections.Concurrent;
using System.Data.Common;
using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Store;

/// <summary>
/// Writers that take whole groups of waiting sets: one durable commit for a group, a savepoint for each set. A caller
/// hears of its result only after the commit, so nothing is acknowledged that a power cut could take. Connections of
/// their own per request would starve one another at the write lock, for seconds.
/// </summary>
internal sealed class CommitQueue : IDisposable
{
    private const int LargestGroup = 128;
    private const int LongestQueue = 4096;

    private readonly Dialect _dialect;
    private readonly BlockingCollection<Pending> _waiting = new(LongestQueue);
    private readonly Thread[] _writers;

    public CommitQueue(Dialect dialect)
    {
        _dialect = dialect;
        _writers = [.. Enumerable.Range(0, dialect.Writers).Select(n => new Thread(Write) { IsBackground = true, Name = $"record writer {n}" })];
        foreach (var writer in _writers)
            writer.Start();
    }

    /// <summary>Why the last group could not be written; null once one was again.</summary>
    public string? Fault { get; private set; }

    public Task<CommitResult> CommitAsync(PreparedSet set, CancellationToken ct) => EnqueueAsync(s => SetWriter.Apply(s, set), ct);

    public async Task<T> EnqueueAsync<T>(Func<Session, T> work, CancellationToken ct)
        where T : notnull
    {
        var pending = new Pending(s => work(s), ct);
        bool accepted;
        try
        {
            accepted = _waiting.TryAdd(pending);
        }
        catch (InvalidOperationException)
        {
            throw Unavailable("The record is being closed.");
        }

        return accepted ? (T)await pending.Done.Task : throw Unavailable("Too many requests wait to be written.");
    }

    public void Dispose()
    {
        _waiting.CompleteAdding();
        foreach (var writer in _writers)
            writer.Join();
        _waiting.Dispose();
    }

    private static RefusedException Unavailable(string why) =>
        new(Refusal.Unavailable, OperationOutcome.IssueType.Transient, why + " Nothing was stored; please try again in a minute.");

    private void Write()
    {
        Session? session = null;
        var group = new List<Pending>(LargestGroup);
        foreach (var first in _waiting.GetConsumingEnumerable())
        {
            group.Clear();
            group.Add(first);
            while (group.Count < LargestGroup && _waiting.TryTake(out var next))
                group.Add(next);
            try
            {
                session ??= new Session(_dialect.OpenWriter(), _dialect);
                Commit(session, group);
                Fault = null;
            }
            catch (Exception e)
            {
                // Whatever went wrong, the writer lives on; but the connection's view of the file is not to be trusted after a
                // failed write, so the next group opens a new one.
                session?.Dispose();
                session = null;
                Fault = e.Message;
                foreach (var pending in group)
                    pending.Outcome = Unavailable("The record cannot be written at present.");
            }

            foreach (var pending in group)
                pending.Complete();
        }

        session?.Dispose();
    }

    private void Commit(Session session, List<Pending> group)
    {
        session.Run(_dialect.BeginWrite);
        foreach (var pending in group)
        {
            if (pending.Cancelled)
                continue;
            session.Run("SAVEPOINT one_set");
            try
            {
                pending.Outcome = pending.Work(session);
                session.Run("RELEASE SAVEPOINT one_set");
            }
            catch (DbException e) when (_dialect.EndsTransaction(e))
            {
                throw;
            }
            catch (Exception e)
            {
                pending.Outcome = e;
                session.Run("ROLLBACK TO SAVEPOINT one_set");
                session.Run("RELEASE SAVEPOINT one_set");
            }
        }

        session.Run("COMMIT");
    }

    private sealed class Pending(Func<Session, object> work, CancellationToken ct)
    {
        public Func<Session, object> Work => work;

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
