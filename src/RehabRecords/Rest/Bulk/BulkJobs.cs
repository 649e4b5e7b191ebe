using System.Collections.Concurrent;
using System.Threading.Channels;
using Hl7.Fhir.Model;
using RehabRecords.Access;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.Host;

namespace RehabRecords.Rest.Bulk;

/// <summary>
/// The exports that were asked for. One is made at a time, however many ask, so that ordinary requests do not feel it; what
/// waits is bounded; what is done is kept for a while and then deleted. A job that was cut off by the end of the process is
/// made anew at the next start.
/// </summary>
internal sealed partial class BulkJobs(Stores stores, Settings settings, TimeProvider clock, ILogger<BulkJobs> log) : BackgroundService
{
    /// <summary>A job that ends the process each time it is tried must not do so for ever.</summary>
    private const int MostAttempts = 5;

    /// <summary>Left free for the record itself.</summary>
    private const long SpareBytes = 64 * 1024 * 1024;

    private readonly ConcurrentDictionary<string, BulkJob> _jobs = new(StringComparer.Ordinal);
    private readonly Channel<BulkJob> _waiting = Channel.CreateUnbounded<BulkJob>();

    private string Folder => Path.Combine(settings.DataFolder, "exports");

    public async Task<BulkJob> BeginAsync(BulkRequest request, Caller caller, CancellationToken ct)
    {
        Expire();
        var unfinished = _jobs.Values.Count(j => !j.IsOver);
        if (unfinished >= settings.Exports.Waiting)
            throw new RefusedException(Refusal.TooMany, OperationOutcome.IssueType.Throttled, $"{unfinished} exports wait or are being made, which is as many as are taken. Ask again when some are done.");
        await RefuseWithoutSpaceAsync(caller.Organisation, ct);
        // Whoever knows the address may have the files, so it cannot be guessed.
        var id = Guid.NewGuid().ToString("N");
        var job = new BulkJob(id, Path.Combine(Folder, id), new BulkOrder(request, clock.GetUtcNow(), Attempts: 0, caller.Organisation, caller.Id));
        job.Keep();
        _jobs[id] = job;
        _waiting.Writer.TryWrite(job);
        return job;
    }

    /// <summary>Whoever asked for it may have it, and nobody else, even with the address.</summary>
    public BulkJob Find(string id, Caller caller)
    {
        Expire();
        return _jobs.GetValueOrDefault(id) is { } job && job.Order.Organisation == caller.Organisation && job.Order.Client == caller.Id ? job : throw new RefusedException(
            Refusal.NotFound, OperationOutcome.IssueType.NotFound, "There is no such export: it was deleted, or kept as long as was said and then deleted. Ask for a new one.");
    }

    public DateTimeOffset ExpiryOf(BulkJob job) => (job.Result?.FinishedAt ?? job.FailedAt ?? clock.GetUtcNow()).AddHours(settings.Exports.KeptHours);

    public void Delete(BulkJob job)
    {
        if (!_jobs.TryRemove(job.Id, out _))
            return;
        job.Withdraw();
        // One that is being made is cleared away by whoever makes it.
        if (job.IsOver || job.Order.Attempts == 0)
            job.DeleteFiles();
    }

    /// <summary>Exports of an organisation hold everybody who was there when they were made.</summary>
    public void DeleteAll(string organisation)
    {
        foreach (var job in _jobs.Values.Where(j => j.Order.Organisation == organisation))
            Delete(job);
    }

    protected override async Task ExecuteAsync(CancellationToken stoppingToken)
    {
        await Task.Yield();
        TakeUp();
        var clearing = ClearAsync(stoppingToken);
        try
        {
            await foreach (var job in _waiting.Reader.ReadAllAsync(stoppingToken))
                await MakeAsync(job, stoppingToken);
        }
        catch (OperationCanceledException) when (stoppingToken.IsCancellationRequested)
        {
            // What was being made is made anew at the next start.
        }

        await clearing;
    }

    /// <summary>What an earlier process left: what is done is offered again, what is not is made anew.</summary>
    private void TakeUp()
    {
        if (!Directory.Exists(Folder))
            return;
        foreach (var folder in Directory.EnumerateDirectories(Folder))
        {
            if (BulkJob.From(folder) is not { } job)
            {
                Directory.Delete(folder, recursive: true);
                continue;
            }

            _jobs[job.Id] = job;
            if (!job.IsOver)
                _waiting.Writer.TryWrite(job);
        }

        Expire();
    }

    private async Task MakeAsync(BulkJob job, CancellationToken stopping)
    {
        using var either = CancellationTokenSource.CreateLinkedTokenSource(stopping, job.Withdrawn);
        try
        {
            if (job.IsWithdrawn)
                return;
            if (job.Order.Attempts >= MostAttempts)
            {
                Fail(job, $"The export was begun {MostAttempts} times and never finished. Ask for less at once, or report it with the number of this export.");
                return;
            }

            job.Order = job.Order with { Attempts = job.Order.Attempts + 1 };
            job.Keep();
            using var snapshot = await SnapshotAsync(job.Order.Organisation, either.Token);
            job.Finish(await Task.Run(() => BulkRun.Write(job, snapshot, clock, either.Token), either.Token));
        }
        catch (OperationCanceledException) when (stopping.IsCancellationRequested)
        {
            throw;
        }
        catch (OperationCanceledException)
        {
            // Withdrawn; the finally clears it away.
        }
        catch (Exception failure)
        {
            LogFailed(log, job.Id, Telemetry.Fault.Of(failure));
            Fail(job, failure is IOException
                ? "The files could not be written; there may be too little space. Ask again later, or for less at once."
                : "The export failed. Ask again later; if it fails again, report it with the number of this export.");
        }
        finally
        {
            if (job.IsWithdrawn)
                job.DeleteFiles();
        }
    }

    private async Task<RecordSnapshot> SnapshotAsync(string organisation, CancellationToken ct)
    {
        while (true)
        {
            try
            {
                return await stores.Of(organisation).SnapshotAsync(ct);
            }
            catch (RefusedException busy) when (busy.Refusal == Refusal.Unavailable)
            {
                await Task.Delay(TimeSpan.FromSeconds(2), ct);
            }
        }
    }

    private void Fail(BulkJob job, string why)
    {
        job.FailedAt = clock.GetUtcNow();
        job.Failure = why;
        // Also what says that it was asked for: it is not made again by itself.
        job.DeleteFiles();
    }

    private async Task ClearAsync(CancellationToken stopping)
    {
        using var now = new PeriodicTimer(TimeSpan.FromMinutes(10));
        try
        {
            while (await now.WaitForNextTickAsync(stopping))
                Expire();
        }
        catch (OperationCanceledException)
        {
            // The service stops.
        }
    }

    private void Expire()
    {
        foreach (var job in _jobs.Values)
            if (job.IsOver && ExpiryOf(job) <= clock.GetUtcNow())
                Delete(job);
    }

    /// <summary>An export can be as long as the store; it must not take the space the record is written to.</summary>
    private async Task RefuseWithoutSpaceAsync(string organisation, CancellationToken ct)
    {
        var free = new DriveInfo(Path.GetFullPath(settings.DataFolder)).AvailableFreeSpace;
        var needed = await stores.Of(organisation).BytesAsync(ct) + SpareBytes;
        if (free < needed)
            throw new RefusedException(Refusal.Unavailable, OperationOutcome.IssueType.NoStore, $"An export may need {needed / 1048576} MB and {free / 1048576} MB are free in the data folder. Make space, or delete exports that are done.");
    }

    [LoggerMessage(Level = LogLevel.Error, Message = "Bulk export {Job} failed: {Fault}")]
    private static partial void LogFailed(ILogger log, string job, string fault);
}
