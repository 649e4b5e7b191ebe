using System.Diagnostics;

namespace RehabRecords.Benchmarks;

/// <summary>What a number of callers got who asked one after the other, without a pause, for a while.</summary>
internal sealed record Load(double PerSecond, double P50, double P99, double Most)
{
    /// <param name="seconds">Of the measurement; a warm-up of half as long goes before it.</param>
    public static async Task<Load> RunAsync(int callers, double seconds, Func<int, Task> request)
    {
        await OfAsync(callers, seconds / 2, request);
        return await OfAsync(callers, seconds, request);
    }

    public override string ToString() => $"{PerSecond,8:0}/s  p50 {P50,7:0.00} ms  p99 {P99,7:0.00} ms  max {Most,7:0.00} ms";

    private static async Task<Load> OfAsync(int callers, double seconds, Func<int, Task> request)
    {
        var times = new List<double>[callers];
        var next = -1;
        var over = Stopwatch.StartNew();
        await Task.WhenAll(Enumerable.Range(0, callers).Select(caller => Task.Run(async () =>
        {
            var mine = times[caller] = [];
            while (over.Elapsed.TotalSeconds < seconds)
            {
                var began = Stopwatch.GetTimestamp();
                await request(Interlocked.Increment(ref next));
                mine.Add(Stopwatch.GetElapsedTime(began).TotalMilliseconds);
            }
        })));
        var took = over.Elapsed.TotalSeconds;
        var all = times.SelectMany(t => t).Order().ToList();
        return new(all.Count / took, all[(int)((all.Count - 1) * 0.5)], all[(int)((all.Count - 1) * 0.99)], all[^1]);
    }
}
