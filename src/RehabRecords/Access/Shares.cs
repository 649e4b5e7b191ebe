using System.Threading.RateLimiting;
using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.HomeLinks;
using RehabRecords.Host;

namespace RehabRecords.Access;

/// <summary>
/// How much one caller may ask for: in a minute, and at once. What patients report has shares of its own, so that it never waits behind an
/// export; so has what is long, so that a download over a slow line holds up nothing else of the caller's. Who comes by a link shares with few
/// others, so that whoever hammers at one address of a link holds up no patient.
/// </summary>
internal sealed class Shares(Settings settings) : IDisposable
{
    /// <summary>Requests of one caller that wait for their turn; more are refused.</summary>
    public const int MostWaiting = 100;

    private readonly PartitionedRateLimiter<string> _callers = PerMinute(settings.Access.RequestsPerMinute);
    private readonly PartitionedRateLimiter<string> _tokens = PerMinute(settings.Access.RequestsPerMinute);
    private readonly PartitionedRateLimiter<string> _atOnce = PartitionedRateLimiter.Create<string, string>(who =>
        RateLimitPartition.GetConcurrencyLimiter(who, _ => new ConcurrencyLimiterOptions { PermitLimit = settings.Access.RequestsAtOnce, QueueLimit = MostWaiting, QueueProcessingOrder = QueueProcessingOrder.OldestFirst }));

    /// <summary>Waits until it is the caller's turn.</summary>
    /// <returns>To be disposed when the answer is complete.</returns>
    /// <exception cref="RefusedException">TooMany.</exception>
    public async ValueTask<IDisposable> TakeAsync(Caller caller, HttpRequest request, CancellationToken ct)
    {
        var who = $"{caller.Organisation} {caller.Id}{ShareOf(caller, request)}";
        using var counted = _callers.AttemptAcquire(who);
        if (!counted.IsAcquired)
            throw TooMany($"More than {settings.Access.RequestsPerMinute} requests came from this caller within a minute. Go on in a few seconds.");
        var turn = await _atOnce.AcquireAsync(who, 1, ct);
        if (turn.IsAcquired)
            return turn;
        turn.Dispose();
        throw TooMany($"{settings.Access.RequestsAtOnce} requests of this caller are being answered, and {MostWaiting} more wait for that. Send further ones when answers have come.");
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
        _atOnce.Dispose();
    }

    // Of links by three digits of their hash: keys that are tried and lead nowhere make 4,096 shares at most.
    private static string ShareOf(Caller caller, HttpRequest request) =>
        caller.Link ? " " + HomeToken.Hash((string?)request.RouteValues["token"] ?? "")[..3]
        : request.Path.StartsWithSegments("/api/sessions", StringComparison.Ordinal) ? " reports"
        : IsLong(request.Path.Value ?? "") ? " long" : "";

    /// <summary>Operations under /fhir, among them $everything and $export, and the export of a record.</summary>
    private static bool IsLong(string path) => path.Contains('$', StringComparison.Ordinal) || path.EndsWith("/record", StringComparison.Ordinal);

    private static RefusedException TooMany(string why) => new(Refusal.TooMany, OperationOutcome.IssueType.Throttled, why);

    private static PartitionedRateLimiter<string> PerMinute(int permits) => PartitionedRateLimiter.Create<string, string>(who =>
        RateLimitPartition.GetSlidingWindowLimiter(who, _ => new SlidingWindowRateLimiterOptions { PermitLimit = permits, Window = TimeSpan.FromMinutes(1), SegmentsPerWindow = 6, QueueLimit = 0 }));
}
