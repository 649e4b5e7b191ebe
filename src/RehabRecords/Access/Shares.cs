using System.Threading.RateLimiting;
using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Host;

namespace RehabRecords.Access;

/// <summary>How much one caller may ask for in a minute. What patients report has a share of its own, so that it never waits behind an export.</summary>
internal sealed class Shares(Settings settings) : IDisposable
{
    private readonly PartitionedRateLimiter<string> _callers = PerMinute(settings.Access.RequestsPerMinute);
    private readonly PartitionedRateLimiter<string> _tokens = PerMinute(settings.Access.RequestsPerMinute);

    /// <exception cref="RefusedException">TooMany.</exception>
    public void Take(Caller caller, HttpRequest request)
    {
        var reports = request.Path.StartsWithSegments("/api/sessions", StringComparison.Ordinal) || caller.Link;
        using var lease = _callers.AttemptAcquire($"{caller.Organisation} {caller.Id}{(reports ? " reports" : "")}");
        if (!lease.IsAcquired)
            throw new RefusedException(Refusal.TooMany, OperationOutcome.IssueType.Throttled, $"More than {settings.Access.RequestsPerMinute} requests came from this caller within a minute. Go on in a few seconds.");
    }

    /// <summary>False when an address tries too many assertions.</summary>
    public bool MayAskForToken(HttpContext context)
    {
        using var lease = _tokens.AttemptAcquire(context.Connection.RemoteIpAddress?.ToString() ?? "unknown");
        return lease.IsAcquired;
    }

    public void Dispose()
    {
        _callers.Dispose();
        _tokens.Dispose();
    }

    private static PartitionedRateLimiter<string> PerMinute(int permits) => PartitionedRateLimiter.Create<string, string>(who =>
        RateLimitPartition.GetSlidingWindowLimiter(who, _ => new SlidingWindowRateLimiterOptions { PermitLimit = permits, Window = TimeSpan.FromMinutes(1), SegmentsPerWindow = 6, QueueLimit = 0 }));
}
