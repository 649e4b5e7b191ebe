using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Store;

/// <summary>
/// Knows which writes are under way, so that a moment can be had at which none is. A write gets its time before it is
/// committed; a copy of the record that names a time must hold every write of an earlier time, or the next copy, which asks
/// for what came after, would miss it.
/// </summary>
internal sealed class WriteGate(TimeProvider clock) : IDisposable
{
    /// <summary>Writes take milliseconds; one that takes longer than this is stuck, and nobody should wait behind it.</summary>
    private static readonly TimeSpan Patience = TimeSpan.FromSeconds(10);

    private readonly SemaphoreSlim _oneAtATime = new(1, 1);
    private readonly Lock _lock = new();
    private int _inside;
    private TaskCompletionSource? _reopened;
    private TaskCompletionSource? _empty;

    /// <summary>For the time of one write. Dispose what is returned when it was committed or refused.</summary>
    public async ValueTask<Passage> EnterAsync(CancellationToken ct)
    {
        while (true)
        {
            Task wait;
            lock (_lock)
            {
                if (_reopened is null)
                {
                    _inside++;
                    return new Passage(this);
                }

                wait = _reopened.Task;
            }

            await wait.WaitAsync(ct);
        }
    }

    /// <summary>Does something while no write is under way, and tells the moment: all committed writes are of that time or earlier, all others will be later.</summary>
    public async Task<(T Result, DateTimeOffset At)> QuietAsync<T>(Func<T> work, CancellationToken ct)
    {
        await _oneAtATime.WaitAsync(ct);
        try
        {
            Task empty;
            lock (_lock)
            {
                _reopened = new TaskCompletionSource(TaskCreationOptions.RunContinuationsAsynchronously);
                _empty = new TaskCompletionSource(TaskCreationOptions.RunContinuationsAsynchronously);
                if (_inside == 0)
                    _empty.SetResult();
                empty = _empty.Task;
            }

            try
            {
                await empty.WaitAsync(Patience, ct);
                var result = work();
                return (result, await PassedMillisecondAsync(ct));
            }
            finally
            {
                lock (_lock)
                {
                    _reopened.SetResult();
                    _reopened = null;
                    _empty = null;
                }
            }
        }
        catch (TimeoutException)
        {
            throw new RefusedException(Refusal.Unavailable, OperationOutcome.IssueType.Transient, "The record is being written to without a pause at present; please try again in a minute.");
        }
        finally
        {
            _oneAtATime.Release();
        }
    }

    /// <summary>Times are kept to the millisecond: the next write must not get the one that was named. A clock that stands still (in a test) is not waited for.</summary>
    private async Task<DateTimeOffset> PassedMillisecondAsync(CancellationToken ct)
    {
        var now = Millisecond.Of(clock.GetUtcNow());
        for (var tries = 0; tries < 20 && Millisecond.Of(clock.GetUtcNow()) == now; tries++)
            await Task.Delay(1, ct);
        return now;
    }

    public void Dispose() => _oneAtATime.Dispose();

    private void Leave()
    {
        lock (_lock)
        {
            if (--_inside == 0)
                _empty?.TrySetResult();
        }
    }

    internal readonly struct Passage(WriteGate gate) : IDisposable
    {
        public void Dispose() => gate.Leave();
    }
}

internal static class Millisecond
{
    /// <summary>Without what is smaller, as times are written in resources.</summary>
    public static DateTimeOffset Of(DateTimeOffset time) => new(time.UtcTicks / TimeSpan.TicksPerMillisecond * TimeSpan.TicksPerMillisecond, TimeSpan.Zero);
}
