using System.Diagnostics;

namespace RehabRecords.Drills;

/// <summary>A start that has to bring an older store up to date first.</summary>
internal static class Upgrades
{
    private const string Digests = "SELECT count(*) FROM version WHERE digest IS NULL";

    /// <summary>Killed while it does; the next start finishes. On a server somebody reads meanwhile, by a statement of the older program.</summary>
    public static async Task<Finding> KilledAsync(int rounds, int seed)
    {
        var random = new Random(seed);
        using var backend = new Backend();
        var burst = new Burst($"upgrade-{seed}");
        await using (var instance = await Instance.StartAsync(backend))
        {
            using var until = new CancellationTokenSource();
            var load = burst.RunAsync(instance, 8, until.Token);
            while (burst.Acknowledged.Count() < 40 * Math.Min(rounds, 10))
                await Task.Delay(50);
            await until.CancelAsync();
            await load;
            await instance.StopAsync();
        }

        var (all, halfDone, notWhole, waited) = (new Tally(), 0, 0, TimeSpan.Zero);
        for (var round = 0; round < rounds; round++)
        {
            using var read = new CancellationTokenSource();
            backend.BackToTheOlderSchema();
            var reading = Backend.OnServer ? ReadAsync(backend, read.Token) : Task.FromResult(TimeSpan.Zero);
            var halfway = await KilledHalfwayAsync(backend, random.Next(0, 1500));
            // How long it takes is the machine's affair: where it was done before it was killed, it is killed sooner.
            for (var longest = 750; !halfway && longest > 0; longest /= 2)
            {
                backend.BackToTheOlderSchema();
                halfway = await KilledHalfwayAsync(backend, random.Next(0, longest));
            }

            halfDone += halfway ? 1 : 0;
            await using var second = await Instance.StartAsync(backend);
            await read.CancelAsync();
            waited = waited > await reading ? waited : await reading;
            all.Add(await burst.CountAsync(second));
            notWhole += (await backend.RunAsync("check-store")).Code == 0 ? 0 : 1;
            await second.StopAsync();
        }

        return new Finding("killed while an older store is brought up to date", rounds, all.Acknowledged, all.Lost,
            $"{burst.Sent.Count * 20} versions; {halfDone} killed half-way; {all.Broken} in part; {notWhole} not whole by check-store after the second start" + (Backend.OnServer ? $"; a reader waited {waited.TotalMilliseconds:0} ms at most" : ""),
            all.Sound && notWhole == 0 && halfDone == rounds && all.Acknowledged > 0);
    }

    /// <summary>Starts on an older store and kills some time after the first step was seen; whether anything was left to do.</summary>
    private static async Task<bool> KilledHalfwayAsync(Backend backend, int milliseconds)
    {
        await using (var first = Instance.Begin(backend))
        {
            while (first.Runs && backend.Ask(Digests) is null)
                await Task.Delay(5);
            await Task.Delay(milliseconds);
            await first.KillAsync();
        }

        return backend.Ask(Digests) is > 0L || ((string?)backend.Ask("SELECT value FROM fact WHERE name='index'") is { } index && (index == "older" || index.StartsWith("making", StringComparison.Ordinal)));
    }

    /// <summary>Many instances start at one moment: on nothing, and on an older store. Of SQLite's only one may.</summary>
    public static async Task<Finding> AtOnceAsync(int instances, int seed)
    {
        using var backend = new Backend();
        var (started, told, stored, lost, notWhole) = (0, 0, 0, 0, 0);
        for (var older = 0; older < 2; older++)
        {
            if (older == 1)
                backend.BackToTheOlderSchema();
            var all = Enumerable.Range(0, instances).Select(_ => Instance.Begin(backend)).ToList();
            try
            {
                var running = new List<Instance>();
                await Task.WhenAll(all.Select(async instance =>
                {
                    try
                    {
                        await instance.UntilReadyAsync();
                        lock (running)
                            running.Add(instance);
                    }
                    catch (InvalidOperationException notStarted)
                    {
                        Interlocked.Add(ref told, notStarted.Message.Contains("is in use", StringComparison.Ordinal) ? 1 : 0);
                    }
                }));
                started += running.Count;
                foreach (var instance in running)
                    await Person.PostAsync(instance, "/fhir/Observation", Person.Observation(null, ++stored));
                foreach (var instance in running)
                    lost += stored - (int)System.Text.Json.Nodes.JsonNode.Parse(await instance.Http.GetStringAsync("/fhir/Observation?_summary=count"))!["total"]!;
            }
            finally
            {
                foreach (var instance in all)
                    await instance.DisposeAsync();
            }

            notWhole += (await backend.RunAsync("check-store")).Code == 0 ? 0 : 1;
        }

        var expected = Backend.OnServer ? 2 * instances : 2;
        return new Finding($"{instances} instances start at one moment on nothing, and on an older store", 2, stored, lost,
            $"{started} took requests of {expected} that may; {told} told that another one uses the folder; {notWhole} not whole by check-store (seed {seed})",
            started == expected && (Backend.OnServer || told == (2 * instances) - 2) && lost == 0 && notWhole == 0);
    }

    private static async Task<TimeSpan> ReadAsync(Backend backend, CancellationToken until)
    {
        var longest = TimeSpan.Zero;
        while (!until.IsCancellationRequested)
        {
            var began = Stopwatch.GetTimestamp();
            if (await Task.Run(() => backend.Ask("SELECT v.json FROM resource r JOIN version v ON v.seq=r.seq AND v.person=r.person WHERE r.type='Observation' LIMIT 1"), CancellationToken.None) is not byte[])
                throw new InvalidOperationException("Nothing could be read while the store was brought up to date.");
            longest = Stopwatch.GetElapsedTime(began) is var took && took > longest ? took : longest;
            await Task.Delay(5, CancellationToken.None);
        }

        return longest;
    }
}
