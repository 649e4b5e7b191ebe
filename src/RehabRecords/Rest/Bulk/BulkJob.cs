namespace RehabRecords.Rest.Bulk;

/// <summary>One export: waiting, running, done or failed.</summary>
internal sealed class BulkJob(string id, string folder, BulkOrder order) : IDisposable
{
    /// <summary>Faster than this nobody needs to ask.</summary>
    private static readonly TimeSpan PollsApart = TimeSpan.FromMilliseconds(100);

    private readonly CancellationTokenSource _withdrawn = new();
    private readonly Lock _lock = new();
    private DateTimeOffset? _polled;

    public string Id => id;

    public string Folder => folder;

    public BulkRequest Request => Order.Request;

    public BulkOrder Order { get; set; } = order;

    /// <summary>Set when it is done.</summary>
    public BulkResult? Result { get; set; }

    /// <summary>Why it failed, for the caller.</summary>
    public string? Failure { get; set; }

    public DateTimeOffset? FailedAt { get; set; }

    public bool IsOver => Result is not null || Failure is not null;

    /// <summary>Under a hundred characters, for people to read.</summary>
    public string Progress { get; set; } = "waiting for its turn";

    public CancellationToken Withdrawn => _withdrawn.Token;

    public bool IsWithdrawn => _withdrawn.IsCancellationRequested;

    private string OrderPath => Path.Combine(folder, "order.json");

    public static BulkJob? From(string folder)
    {
        var id = Path.GetFileName(folder);
        if (BulkJson.Read<BulkOrder>(Path.Combine(folder, "order.json")) is not { } order)
            return null;
        return new BulkJob(id, folder, order) { Result = BulkJson.Read<BulkResult>(Path.Combine(folder, "result.json")) };
    }

    public void Keep()
    {
        Directory.CreateDirectory(folder);
        BulkJson.Write(OrderPath, Order);
    }

    public void Finish(BulkResult result)
    {
        BulkJson.Write(Path.Combine(folder, "result.json"), result);
        Result = result;
    }

    public void Withdraw() => _withdrawn.Cancel();

    /// <summary>False when it was asked for only just before.</summary>
    public bool MayPoll(TimeProvider clock)
    {
        lock (_lock)
        {
            var now = clock.GetUtcNow();
            var may = _polled is not { } last || now < last || now - last >= PollsApart;
            if (may)
                _polled = now;
            return may;
        }
    }

    public void DeleteFiles()
    {
        if (Directory.Exists(folder))
            Directory.Delete(folder, recursive: true);
    }

    public void Dispose() => _withdrawn.Dispose();
}
