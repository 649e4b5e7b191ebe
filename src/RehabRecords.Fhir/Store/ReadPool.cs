using System.Collections.Concurrent;
using System.Data.Common;
using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Store;

/// <summary>Connections for reading. A caller waits when all are taken, so that a burst of searches cannot open without limit.</summary>
internal sealed class ReadPool(Dialect dialect, int size) : IDisposable
{
    private readonly ConcurrentStack<Session> _free = [];
    private readonly SemaphoreSlim _places = new(size, size);
    private bool _closed;

    public async Task<T> ReadAsync<T>(Func<Session, T> read, CancellationToken ct)
    {
        await _places.WaitAsync(ct);
        try
        {
            ObjectDisposedException.ThrowIf(_closed, this);
            var session = _free.TryPop(out var free) ? free : new Session(dialect.OpenReader(), dialect);
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
            catch (DbException e) when (dialect.EndsTransaction(e))
            {
                session.Dispose();
                throw new RefusedException(Refusal.Unavailable, OperationOutcome.IssueType.Transient, "The record cannot be read at present; please try again in a minute.");
            }
            catch
            {
                session.Dispose();
                throw;
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
        while (_free.TryPop(out var session))
            session.Dispose();
        _places.Dispose();
    }
}
