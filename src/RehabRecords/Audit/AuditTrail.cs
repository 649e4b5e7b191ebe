using System.Diagnostics.Metrics;
using System.Globalization;
using Hl7.Fhir.Model;
using RehabRecords.Access;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.Host;
using RehabRecords.Telemetry;

namespace RehabRecords.Audit;

/// <summary>Makes AuditEvents of what the journals hold, links them into the chain of each organisation, and notes the end of the chain outside of the store.</summary>
internal sealed partial class AuditTrail(Stores stores, Settings settings, TimeProvider clock, IMeterFactory meters, ILogger<AuditTrail> log) : BackgroundService
{
    public const string AnchorFile = "audit-anchors.txt";
    private const string JournalFolder = "audit-journal";
    private const int Together = 100;
    private static readonly TimeSpan Every = TimeSpan.FromMilliseconds(500);
    private static readonly TimeSpan AnchorEvery = TimeSpan.FromMinutes(5);

    private readonly Dictionary<string, AccessJournal> _journals = [];
    private readonly Dictionary<string, (AuditLink Link, DateTimeOffset At)> _anchored = [];
    private readonly SemaphoreSlim _turn = new(1, 1);
    private readonly Lock _lock = new();
    private long _settled = TimeProvider.System.GetTimestamp();
    private Task? _stopped;

    public Task NoteAsync(string organisation, NotedAccess access, CancellationToken ct) => JournalOf(organisation).NoteAsync(access, ct);

    /// <summary>All that was noted until now is in the trail and linked.</summary>
    public async Task SettleAsync(CancellationToken ct)
    {
        await _turn.WaitAsync(ct);
        try
        {
            foreach (var organisation in stores.Organisations)
                await SettleAsync(organisation, ct);
            Interlocked.Exchange(ref _settled, TimeProvider.System.GetTimestamp());
        }
        finally
        {
            _turn.Release();
        }
    }

    public override void Dispose()
    {
        base.Dispose();
        _turn.Dispose();
    }

    /// <summary>Links noted earlier, from the file beside the store.</summary>
    public static IReadOnlyList<AuditLink> AnchorsOf(string dataFolder, string organisation)
    {
        var path = Path.Combine(Stores.FolderOf(dataFolder, organisation), AnchorFile);
        return File.Exists(path)
            ? [.. File.ReadLines(path).Select(l => l.Split(' ')).Where(p => p.Length == 3 && long.TryParse(p[1], NumberStyles.None, CultureInfo.InvariantCulture, out _)).Select(p => new AuditLink(long.Parse(p[1], CultureInfo.InvariantCulture), p[2]))]
            : [];
    }

    protected override async Task ExecuteAsync(CancellationToken stoppingToken)
    {
        if (!settings.AuditIsOn)
            return;
        meters.Create(RecordMeter.Name).CreateObservableGauge(
            "rehabrecords.audit.lag", () => TimeProvider.System.GetElapsedTime(Interlocked.Read(ref _settled)).TotalSeconds, "s", "Time since all accesses that were noted stood in the audit trail and were linked.");
        using var timer = new PeriodicTimer(Every);
        try
        {
            while (await timer.WaitForNextTickAsync(stoppingToken))
            {
                try
                {
                    await SettleAsync(stoppingToken);
                }
                catch (Exception failure) when (failure is not OperationCanceledException)
                {
                    // Kept in the journal, and tried again.
                    LogLate(log, failure is RefusedException refused ? refused.Refusal.ToString() : Fault.Of(failure));
                }
            }
        }
        catch (OperationCanceledException)
        {
            // The service stops.
        }
    }

    public override Task StopAsync(CancellationToken cancellationToken)
    {
        // A host is told to stop from several sides; the stores are open for the first of them.
        lock (_lock)
            return _stopped ??= StopOnceAsync(cancellationToken);
    }

    private async Task StopOnceAsync(CancellationToken cancellationToken)
    {
        await base.StopAsync(cancellationToken);
        if (!settings.AuditIsOn)
            return;
        try
        {
            await SettleAsync(cancellationToken);
            foreach (var organisation in stores.Organisations)
                Anchor(organisation, await stores.Of(organisation).ExtendAuditChainAsync(cancellationToken));
        }
        catch (Exception late) when (late is RefusedException or ObjectDisposedException)
        {
            // The stores are closed already. What is in the journal is taken up at the next start.
        }

        foreach (var journal in _journals.Values)
            await journal.DisposeAsync();
    }

    private AccessJournal JournalOf(string organisation)
    {
        lock (_lock)
            return _journals.TryGetValue(organisation, out var journal) ? journal
                : _journals[organisation] = new AccessJournal(Path.Combine(Stores.FolderOf(settings.DataFolder, organisation), JournalFolder));
    }

    private async Task SettleAsync(string organisation, CancellationToken ct)
    {
        var store = stores.Of(organisation);
        var events = new AccessEvents(settings);
        foreach (var file in await JournalOf(organisation).CompleteAsync())
        {
            foreach (var some in AccessJournal.Read(file).SelectMany(events.Of).Chunk(Together))
                await WriteAsync(store, some, ct);
            File.Delete(file);
        }

        var head = await store.ExtendAuditChainAsync(ct);
        if (head.Number > 0 && (!_anchored.TryGetValue(organisation, out var last) || (last.Link != head && clock.GetUtcNow() - last.At >= AnchorEvery)))
            Anchor(organisation, head);
    }

    private static async Task WriteAsync(RecordStore store, AuditEvent[] events, CancellationToken ct)
    {
        try
        {
            await WriteAllAsync(store, events, ct);
        }
        catch (RefusedException refused) when (refused.Refusal == Refusal.StaleVersion && events.Length > 1)
        {
            // Cut off after writing and before deleting the file: what is there, whatever became of it, is left out.
            foreach (var one in events)
                await WriteAsync(store, [one], ct);
        }
        catch (RefusedException refused) when (refused.Refusal == Refusal.StaleVersion)
        {
            // This one is there.
        }
    }

    private static async Task WriteAllAsync(RecordStore store, AuditEvent[] events, CancellationToken ct)
    {
        var set = new WriteSet();
        foreach (var one in events)
            set.Create(one);
        await store.CommitAsync(set, ct);
    }

    /// <summary>To a file and to the log: whoever can change the store can hardly change what a log system holds already.</summary>
    private void Anchor(string organisation, AuditLink head)
    {
        if (head.Number == 0 || (_anchored.TryGetValue(organisation, out var last) && last.Link == head))
            return;
        var now = clock.GetUtcNow();
        _anchored[organisation] = (head, now);
        File.AppendAllText(
            Path.Combine(Stores.FolderOf(settings.DataFolder, organisation), AnchorFile), string.Create(CultureInfo.InvariantCulture, $"{now.UtcDateTime:yyyy-MM-dd'T'HH:mm:ss'Z'} {head.Number} {head.Hash}\n"));
        LogAnchor(log, organisation, head.Number, head.Hash);
    }

    [LoggerMessage(Level = LogLevel.Information, Message = "Audit chain of '{Organisation}': link {Number} is {Hash}")]
    private static partial void LogAnchor(ILogger log, string organisation, long number, string hash);

    [LoggerMessage(Level = LogLevel.Error, Message = "Accesses wait in the journal, because they cannot be written to the audit trail: {Reason}")]
    private static partial void LogLate(ILogger log, string reason);
}
