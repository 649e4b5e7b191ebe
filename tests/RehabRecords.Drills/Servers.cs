namespace RehabRecords.Drills;

/// <summary>The database server goes away under load, and comes back.</summary>
internal static class Servers
{
    /// <summary>Restarted as an administrator does, restarted at once, and one of its processes ended; two instances of the service meanwhile.</summary>
    public static async Task<Finding> RestartAsync(int rounds, int seed)
    {
        using var backend = new Backend();
        await using var one = await Instance.StartAsync(backend);
        await using var two = await Instance.StartAsync(backend);
        Instance[] instances = [one, two];
        Burst[] bursts = [new($"restart-{seed}-a", entries: 5), new($"restart-{seed}-b", entries: 5)];
        using var until = new CancellationTokenSource();
        var load = Task.WhenAll(bursts.Zip(instances, (burst, instance) => burst.RunAsync(instance, 8, until.Token)));
        for (var round = 0; round < rounds; round++)
        {
            await Task.Delay(3000);
            var fault = (round % 3) switch
            {
                0 => Backend.ServerAsync("-m", "fast", "restart"),
                1 => Backend.ServerAsync("-m", "immediate", "restart"),
                _ => Backend.EndOneBackendAsync(),
            };
            await fault;
        }

        await Task.Delay(5000);
        await until.CancelAsync();
        await load;
        var tally = new Tally();
        var (unanswered, wrong) = (0, 0);
        foreach (var (burst, instance) in bursts.Zip(instances))
        {
            unanswered += burst.Unanswered.Count();
            wrong += await burst.RepeatAsync(instance);
            tally.Add(await burst.CountAsync(instance));
        }

        var others = bursts.SelectMany(b => b.Refusals.Keys).Where(s => s != 503).Distinct().Order().ToList();
        return new Finding("the database restarted, broken off, or one of its processes ended, with two instances at work", rounds, tally.Acknowledged, tally.Lost,
            $"{bursts.Sum(b => b.Refused.Count)} refused{(others.Count > 0 ? $", not only with 503 but {string.Join(", ", others)}" : " with 503")}, {tally.Untold} of them there; {tally.Broken} in part; {unanswered} without an answer: {wrong} not there once after a repeat",
            tally.Lost == 0 && tally.Broken == 0 && wrong == 0 && others.Count == 0 && tally.Acknowledged > 0);
    }
}
