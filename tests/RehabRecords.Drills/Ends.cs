using System.Diagnostics;

namespace RehabRecords.Drills;

/// <summary>The process ends or stops in the middle of its work.</summary>
internal static class Ends
{
    private const int Clients = 16;

    /// <summary>The mark of the fault: no handler runs, nothing is flushed that was not flushed before.</summary>
    public static async Task<Finding> KillAsync(int rounds, int seed)
    {
        var random = new Random(seed);
        using var backend = new Backend();
        var (all, unanswered, wrongRepeats, slowest, damaged) = (new Tally(), 0, 0, TimeSpan.Zero, 0);
        var instance = await Instance.StartAsync(backend);
        try
        {
            for (var round = 0; round < rounds; round++)
            {
                var burst = new Burst($"kill-{round}");
                var load = burst.RunAsync(instance, Clients, CancellationToken.None);
                while (!burst.Acknowledged.Any())
                    await Task.Delay(5);
                await Task.Delay(random.Next(50, 1500));
                await instance.KillAsync();
                await load;
                damaged += backend.Damage() is null ? 0 : 1;
                await instance.DisposeAsync();
                // The one that finds what was left is the next to be killed.
                var began = Stopwatch.GetTimestamp();
                instance = await Instance.StartAsync(backend);
                slowest = Longer(slowest, Stopwatch.GetElapsedTime(began));
                all.Add(await burst.CountAsync(instance));
                unanswered += burst.Unanswered.Count();
                wrongRepeats += await burst.RepeatAsync(instance);
            }
        }
        finally
        {
            await instance.DisposeAsync();
        }

        return new Finding("killed in a burst of transactions", rounds, all.Acknowledged, all.Lost,
            $"{all.Broken} in part; {unanswered} without an answer, sent again: {wrongRepeats} not there exactly once; {damaged} files damaged; ready again within {slowest.TotalSeconds:0.0} s",
            all.Sound && wrongRepeats == 0 && damaged == 0 && all.Acknowledged > 0);
    }

    /// <summary>Stopped for some seconds under load, as a machine that is moved or swaps, then let go on.</summary>
    public static async Task<Finding> PauseAsync(int rounds, int seed)
    {
        var random = new Random(seed);
        using var backend = new Backend();
        await using var instance = await Instance.StartAsync(backend);
        var burst = new Burst("pause");
        using var until = new CancellationTokenSource();
        var load = burst.RunAsync(instance, Clients, until.Token);
        for (var round = 0; round < rounds; round++)
        {
            await Task.Delay(random.Next(200, 800));
            await instance.SignalAsync("STOP");
            await Task.Delay(TimeSpan.FromSeconds(3));
            await instance.SignalAsync("CONT");
        }

        await Task.Delay(500);
        await until.CancelAsync();
        await load;
        var tally = await burst.CountAsync(instance);
        return new Finding("stopped for 3 s and let go on", rounds, tally.Acknowledged, tally.Lost, $"{tally.Broken} in part; {burst.Refused.Count} refused", tally.Sound && tally.Acknowledged > 0);
    }

    /// <summary>Less memory than the load asks for: it may refuse, even end, but not forget.</summary>
    public static async Task<Finding> MemoryAsync(int rounds, int seed)
    {
        using var backend = new Backend();
        var (all, ended, refused, unsure) = (new Tally(), 0, 0, 0);
        var little = new Dictionary<string, string> { ["DOTNET_GCHeapHardLimit"] = (200L << 20).ToString("X", System.Globalization.CultureInfo.InvariantCulture) };
        for (var round = 0; round < rounds; round++)
        {
            var burst = new Burst($"memory-{seed}-{round}", entries: 400);
            await using (var instance = await Instance.StartAsync(backend, environment: little))
            {
                using var until = new CancellationTokenSource(TimeSpan.FromSeconds(15));
                await burst.RunAsync(instance, 48, until.Token);
                ended += instance.Runs ? 0 : 1;
                refused += burst.Refused.Count;
                unsure += burst.Refusals.Values.Sum() - burst.Refused.Count;
            }

            await using var again = await Instance.StartAsync(backend);
            all.Add(await burst.CountAsync(again));
        }

        return new Finding("200 MB of memory for 48 clients with transactions of 400", rounds, all.Acknowledged, all.Lost, $"ended {ended} times; {refused} refused, {all.Untold} of them there; {unsure} told that it is not known; {all.Broken} in part",
            all.Sound && all.Acknowledged > 0);
    }

    /// <summary>The restore of a person's record from its file is killed on the way, and done again.</summary>
    public static async Task<Finding> ImportAsync(int rounds, int seed)
    {
        const int Results = 2000;
        var random = new Random(seed);
        using var clinic = new Backend();
        string zip = Path.Combine(clinic.Folder, "record.zip"), person;
        await using (var source = await Instance.StartAsync(clinic))
        {
            person = await Person.WithRecordAsync(source, Results);
            await File.WriteAllBytesAsync(zip, await source.Http.GetByteArrayAsync($"/api/people/{person}/record"));
        }

        var (halves, restored, killed) = (0, 0, 0);
        for (var round = 0; round < rounds; round++)
        {
            using var backend = new Backend();
            using (var import = backend.Start("import-record", zip))
            {
                await Task.Delay(random.Next(300, 4000));
                if (!import.HasExited)
                {
                    killed++;
                    import.Kill(entireProcessTree: true);
                }

                await import.WaitForExitAsync();
            }

            await using (var between = await Instance.StartAsync(backend))
                halves += await Person.CountAsync(between, person) is 0 or Results ? 0 : 1;
            using (var import = backend.Start("import-record", zip))
                await import.WaitForExitAsync();
            await using var after = await Instance.StartAsync(backend);
            restored += await Person.CountAsync(after, person) == Results ? 1 : 0;
        }

        return new Finding("import of a record killed on the way, and done again", rounds, rounds, rounds - restored, $"{killed} killed before they were done; {halves} left half a record", halves == 0 && restored == rounds && killed > 0);
    }

    private static TimeSpan Longer(TimeSpan a, TimeSpan b) => a > b ? a : b;
}
