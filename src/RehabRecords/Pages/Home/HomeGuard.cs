using System.Threading.RateLimiting;

namespace RehabRecords.Pages.Home;

/// <summary>
/// Keeps one caller from trying tokens, and one link from filling the record. Who has a good link is never kept out by
/// somebody else behind the same address who has not.
/// </summary>
internal sealed class HomeGuard : IDisposable
{
    private readonly PartitionedRateLimiter<string> _misses = PerMinute(30);
    private readonly PartitionedRateLimiter<string> _uses = PerMinute(60);

    /// <summary>A look-up that found nothing. False when this caller has had too many of them.</summary>
    public bool Miss(HttpContext http) => Taken(_misses, http.Connection.RemoteIpAddress?.ToString() ?? "unknown");

    /// <summary>A report through a link. False when too many came through it lately.</summary>
    public bool Use(string link) => Taken(_uses, link);

    public void Dispose()
    {
        _misses.Dispose();
        _uses.Dispose();
    }

    private static bool Taken(PartitionedRateLimiter<string> limiter, string who)
    {
        using var lease = limiter.AttemptAcquire(who);
        return lease.IsAcquired;
    }

    private static PartitionedRateLimiter<string> PerMinute(int permits) => PartitionedRateLimiter.Create<string, string>(who =>
        RateLimitPartition.GetSlidingWindowLimiter(who, _ => new SlidingWindowRateLimiterOptions { PermitLimit = permits, Window = TimeSpan.FromMinutes(1), SegmentsPerWindow = 6, QueueLimit = 0 }));
}
