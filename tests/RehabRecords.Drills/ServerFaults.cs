using System.Diagnostics;
using System.Net;
using Npgsql;

namespace RehabRecords.Drills;

/// <summary>The database's disk is full, the line to it is dead, or its machine is gone.</summary>
internal static class ServerFaults
{
    private const int Clients = 8;

    /// <summary>In turn the disk of the tables, where reads go on, and that of the write-ahead log, where the server itself stops. Needs root.</summary>
    public static async Task<Finding> FullAsync(int rounds, int seed)
    {
        var (all, refused, faults) = (new Tally(), 0, new List<string>());
        for (var round = 0; round < rounds; round++)
        {
            var ofLog = round % 2 == 1;
            var small = Directory.CreateTempSubdirectory("rehabrecords-full-").FullName;
            var large = Directory.CreateTempSubdirectory("rehabrecords-roomy-").FullName;
            await Shell.RunAsync("chmod", "755", large);
            // An empty cluster takes 38 MB for its tables, and its log is to grow to 96 MB.
            await Shell.RunAsync("mount", "-t", "tmpfs", "-o", ofLog ? "size=48m" : "size=64m", "tmpfs", small);
            try
            {
                await Shell.RunAsync("chown", "postgres", small);
                await using var server = ofLog ? await Cluster.MakeAsync(large, Path.Combine(small, "wal")) : await Cluster.MakeAsync(small, Path.Combine(await OwnedAsync(large), "wal"));
                using var backend = new Backend(connection: server.Connection);
                await using var instance = await Instance.StartAsync(backend);
                var person = await Person.WithRecordAsync(instance, 100);
                var burst = new Burst($"server-full-{seed}-{round}");
                using (var until = new CancellationTokenSource(TimeSpan.FromSeconds(90)))
                {
                    var load = burst.RunAsync(instance, Clients, until.Token);
                    while (burst.Refused.Count < 30 && !until.IsCancellationRequested)
                        await Task.Delay(50);
                    if (!ofLog && !(await instance.StatusAsync($"/fhir/Patient/{person}") == HttpStatusCode.OK && await Person.CountAsync(instance, person) == 100))
                        faults.Add($"round {round}: reads did not go on");
                    await until.CancelAsync();
                    await load;
                }

                refused += burst.Refused.Count;
                if (burst.Refused.IsEmpty)
                    faults.Add($"round {round}: the disk was not full");
                await Shell.RunAsync("mount", "-o", "remount,size=800m", small);
                if (ofLog)
                    await server.RecoverAsync();
                var began = Stopwatch.GetTimestamp();
                while (await burst.SendAsync(instance, $"after-{seed}-{round}") is not (>= 200 and < 300) && Stopwatch.GetElapsedTime(began) < TimeSpan.FromSeconds(20))
                    await Task.Delay(200);
                if (Stopwatch.GetElapsedTime(began) > TimeSpan.FromSeconds(15))
                    faults.Add($"round {round}: did not write again");
                var wrong = await burst.RepeatAsync(instance);
                if (wrong > 0)
                    faults.Add($"round {round}: {wrong} not there once after a repeat");
                all.Add(await burst.CountAsync(instance));
                if (burst.Refusals.Keys.Any(s => s is not 503))
                    faults.Add($"round {round}: refused with {string.Join(", ", burst.Refusals.Keys)}");
                if (backend.Damage() is { } damage)
                    faults.Add($"round {round}: {damage}");
            }
            finally
            {
                await Shell.RunAsync("umount", small);
                Directory.Delete(small);
                Directory.Delete(large, recursive: true);
            }
        }

        return new Finding("the database's disk full, then room again, the service not restarted", rounds, all.Acknowledged, all.Lost,
            $"{refused} refused; {all.Broken} in part; {(faults.Count == 0 ? "reads went on where the tables' disk was full" : string.Join("; ", faults))}", all.Lost == 0 && all.Broken == 0 && faults.Count == 0 && all.Acknowledged > 0);
    }

    /// <summary>In turn a line whose packets are dropped, and a relay that takes all and forwards nothing; each for half a minute under load.</summary>
    public static async Task<Finding> SilenceAsync(int rounds, int seed)
    {
        var server = new NpgsqlConnectionStringBuilder(Backend.Server);
        var (all, refused, wrong, faults) = (new Tally(), 0, 0, new List<string>());
        var (longest, noticed, back) = (TimeSpan.Zero, TimeSpan.Zero, TimeSpan.Zero);
        for (var round = 0; round < rounds; round++)
        {
            var drop = round % 2 == 0;
            using var relay = new Relay(server.Port);
            using var backend = new Backend(connection: new NpgsqlConnectionStringBuilder(Backend.Server) { Host = "127.0.0.1", Port = relay.Port }.ConnectionString);
            await using var instance = await Instance.StartAsync(backend);
            var burst = new Burst($"silence-{seed}-{round}", entries: 5);
            using var until = new CancellationTokenSource();
            var load = burst.RunAsync(instance, Clients, until.Token);
            await Task.Delay(2000);
            if (drop)
                await relay.DropAsync();
            else
                relay.Hold();
            try
            {
                noticed = Longer(noticed, await UntilAsync(instance, HttpStatusCode.ServiceUnavailable, TimeSpan.FromSeconds(30)));
                if (await instance.StatusAsync("/health/live") != HttpStatusCode.OK)
                    faults.Add($"round {round}: not live");
                await Task.Delay(TimeSpan.FromSeconds(25));
            }
            finally
            {
                if (drop)
                    await relay.LetThroughAsync();
                else
                    relay.LetGo();
            }

            back = Longer(back, await UntilAsync(instance, HttpStatusCode.OK, TimeSpan.FromSeconds(60)));
            await Task.Delay(2000);
            await until.CancelAsync();
            await load;
            longest = Longer(longest, burst.Longest);
            refused += burst.Refused.Count;
            if (burst.Refusals.Keys.Any(s => s is not 503))
                faults.Add($"round {round}: refused with {string.Join(", ", burst.Refusals.Keys)}");
            wrong += await burst.RepeatAsync(instance);
            all.Add(await burst.CountAsync(instance));
        }

        return new Finding("the line to the database silent for half a minute, by dropped packets or by a relay that forwards nothing", rounds, all.Acknowledged, all.Lost,
            $"{refused} refused with 503, {all.Untold} of them there; the longest request {longest.TotalSeconds:0.0} s; not ready after {noticed.TotalSeconds:0.0} s, ready {back.TotalSeconds:0.0} s after the line was back; {all.Broken} in part; {wrong} not there once after a repeat{string.Concat(faults.Select(f => "; " + f))}",
            all.Lost == 0 && all.Broken == 0 && wrong == 0 && faults.Count == 0 && refused > 0 && all.Acknowledged > 0 && longest < TimeSpan.FromSeconds(30) && noticed < TimeSpan.FromSeconds(15) && back < TimeSpan.FromSeconds(15));
    }

    /// <summary>The primary is killed under load and its synchronous standby promoted; the connection of the service names both. Needs root.</summary>
    public static async Task<Finding> PromotedAsync(int rounds, int seed)
    {
        var (all, refused, wrong, unanswered, longest) = (new Tally(), 0, 0, 0, TimeSpan.Zero);
        var others = new SortedSet<int>();
        for (var round = 0; round < rounds; round++)
        {
            var folders = new[] { "primary", "standby" }.Select(name => Directory.CreateTempSubdirectory($"rehabrecords-{name}-").FullName).ToList();
            try
            {
                await using var primary = await Cluster.MakeAsync(folders[0]);
                await using var standby = await primary.FollowedByAsync(folders[1]);
                using var backend = new Backend(connection: $"Host=127.0.0.1:{primary.Port},127.0.0.1:{standby.Port};Username=rehab;Database=rehab");
                await using var instance = await Instance.StartAsync(backend);
                var burst = new Burst($"promoted-{seed}-{round}", entries: 5);
                using var until = new CancellationTokenSource();
                var load = burst.RunAsync(instance, Clients, until.Token);
                while (burst.Acknowledged.Count() < 20)
                    await Task.Delay(20);
                await Task.Delay(new Random(seed + round).Next(0, 1500));
                await primary.KillAsync();
                await standby.PromoteAsync();
                var began = Stopwatch.GetTimestamp();
                var before = burst.Acknowledged.Count();
                while (burst.Acknowledged.Count() < before + 10 && Stopwatch.GetElapsedTime(began) < TimeSpan.FromSeconds(60))
                    await Task.Delay(20);
                longest = Longer(longest, Stopwatch.GetElapsedTime(began));
                await until.CancelAsync();
                await load;
                refused += burst.Refused.Count;
                others.UnionWith(burst.Refusals.Keys.Where(s => s != 503));
                unanswered += burst.Unanswered.Count();
                wrong += await burst.RepeatAsync(instance);
                all.Add(await burst.CountAsync(instance));
            }
            finally
            {
                foreach (var folder in folders)
                    Directory.Delete(folder, recursive: true);
            }
        }

        return new Finding("the primary killed, its synchronous standby promoted", rounds, all.Acknowledged, all.Lost,
            $"{refused} refused{(others.Count > 0 ? $", not only with 503 but {string.Join(", ", others)}" : " with 503")}, {all.Untold} of them there; {all.Broken} in part; {unanswered} without an answer: {wrong} not there once after a repeat; writes went on {longest.TotalSeconds:0.0} s after the promotion",
            all.Lost == 0 && all.Broken == 0 && wrong == 0 && others.Count == 0 && all.Acknowledged > 0 && longest < TimeSpan.FromSeconds(30));
    }

    private static async Task<string> OwnedAsync(string folder)
    {
        await Shell.RunAsync("chown", "postgres", folder);
        return folder;
    }

    private static async Task<TimeSpan> UntilAsync(Instance instance, HttpStatusCode ready, TimeSpan patience)
    {
        var began = Stopwatch.GetTimestamp();
        while (await instance.StatusAsync("/health/ready") != ready && Stopwatch.GetElapsedTime(began) < patience)
            await Task.Delay(50);
        return Stopwatch.GetElapsedTime(began);
    }

    private static TimeSpan Longer(TimeSpan a, TimeSpan b) => a > b ? a : b;
}
