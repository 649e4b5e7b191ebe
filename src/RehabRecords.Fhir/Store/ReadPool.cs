using System.Collections.Concurrent;
using System.Data.Common;
using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Store;

/// <summary>Connections for reading. A caller waits when all are taken, so that a burst of searches cannot open without limit.</summary>
internal sealed class ReadPool(Dialect dialect, int size) : IDisposable
{
    private static readonly TimeSpan Patience = TimeSpan.FromSeconds(8);

    private readonly ConcurrentStack<Session> _free = [];
    private readonly SemaphoreSlim _places = new(size, size);
    private bool _closed;

    public async Task<T> ReadAsync<T>(Func<Session, T> read, CancellationToken ct)
    {
        if (!await _places.WaitAsync(Patience, ct))
            throw Unavailable();
        try
        {
            ObjectDisposedException.ThrowIf(_closed, this);
            if (_free.TryPop(out var used))
            {
                try
                {
                    return Read(used, read);
                }
                catch (DbException e) when (dialect.IsPassing(e))
                {
                    // The server was started again, or cut off; the others that were kept have fared alike.
                    Clear();
                }
                catch (DbException e) when (dialect.EndsTransaction(e))
                {
                    throw Unavailable();
                }
            }

            try
            {
                return Read(new Session(dialect.OpenReader(), dialect), read);
            }
            catch (Exception e) when (e is StoreUnusableException || (e is DbException db && dialect.EndsTransaction(db)))
            {
                throw Unavailable();
            }
        }
        finally
        {
            _places.Release();
        }
    }

    public void Dispose()
    {
        _closed = true;
        Clear();
        _places.Dispose();
    }

    private static RefusedException Unavailable() =>
        new(Refusal.Unavailable, OperationOutcome.IssueType.Transient, "The record cannot be read at present; please try again in a minute.");

    private T Read<T>(Session session, Func<Session, T> read)
    {
        try
        {
            var result = read(session);
            _free.Push(session);
            return result;
        }
        catch (RefusedException)
        {
            _free.Push(session);
            throw;
        }
        catch (DbException e) when (dialect.Refusal(e) is { } refusal)
        {
            session.Dispose();
            throw refusal;
        }
        catch
        {
            session.Dispose();
            throw;
        }
    }

    private void Clear()
    {
        while (_free.TryPop(out var session))
            session.Dispose();
    }
}
