using System.Net;

namespace RehabRecords.Drills;

/// <summary>The disk is full, or says that a write did not reach it.</summary>
internal static class Disks
{
    /// <summary>On a small file system of its own; needs root.</summary>
    public static async Task<Finding> FullAsync(int rounds, int seed)
    {
        var folder = Directory.CreateTempSubdirectory("rehabrecords-full-").FullName;
        var (all, refused, readsFailed, recovered) = (new Tally(), 0, 0, 0);
        for (var round = 0; round < rounds; round++)
        {
            await Shell.RunAsync("mount", "-t", "tmpfs", "-o", "size=24m", "tmpfs", folder);
            try
            {
                using var backend = new Backend(folder);
                await using var instance = await Instance.StartAsync(backend);
                var person = await Person.WithRecordAsync(instance, 100);
                var burst = new Burst($"full-{seed}-{round}");
                using (var until = new CancellationTokenSource(TimeSpan.FromSeconds(60)))
                {
                    var load = burst.RunAsync(instance, 8, until.Token);
                    while (burst.Refused.Count < 50 && !until.IsCancellationRequested)
                        await Task.Delay(50);
                    readsFailed += await instance.StatusAsync($"/fhir/Patient/{person}") == HttpStatusCode.OK && await Person.CountAsync(instance, person) == 100 ? 0 : 1;
                    await until.CancelAsync();
                    await load;
                }

                refused += burst.Refused.Count;
                await Shell.RunAsync("mount", "-o", "remount,size=400m", folder);
                recovered += await burst.SendAsync(instance, $"after-{round}") is >= 200 and < 300 ? 1 : 0;
                all.Add(await burst.CountAsync(instance));
                readsFailed += burst.Refusals.Keys.All(s => s is 503 or 507) ? 0 : 1;
                await instance.StopAsync();
                readsFailed += backend.Damage() is null ? 0 : 1;
            }
            finally
            {
                await Shell.RunAsync("umount", folder);
            }
        }

        Directory.Delete(folder);
        return new Finding("disk full, then room again", rounds, all.Acknowledged, all.Lost,
            $"{refused} refused, {all.Untold} of them there; {all.Broken} in part; reads failed or answers were of another kind {readsFailed} times; wrote again without a restart {recovered} of {rounds}",
            all.Sound && refused > 0 && readsFailed == 0 && recovered == rounds && all.Acknowledged > 0);
    }

    /// <summary>The system says once that what was written did not reach the disk.</summary>
    public static async Task<Finding> SyncFailsAsync(int rounds, int seed)
    {
        var random = new Random(seed);
        var (all, refused, damaged, recovered) = (new Tally(), 0, 0, 0);
        for (var round = 0; round < rounds; round++)
        {
            using var backend = new Backend();
            var burst = new Burst($"sync-{round}", entries: 3);
            var strace = new[] { "strace", "-f", "-o", "/dev/null", "-e", "trace=fsync,fdatasync", "-e", $"inject=fsync,fdatasync:error=EIO:when={random.Next(60, 200)}" };
            await using (var instance = await Instance.StartAsync(backend, strace))
            {
                using var until = new CancellationTokenSource(TimeSpan.FromSeconds(40));
                var load = burst.RunAsync(instance, 4, until.Token);
                while (burst.Refused.IsEmpty && !until.IsCancellationRequested)
                    await Task.Delay(20);
                await Task.Delay(500);
                await until.CancelAsync();
                await load;
                refused += burst.Refused.Count;
                recovered += await burst.SendAsync(instance, "after") is >= 200 and < 300 ? 1 : 0;
                await instance.KillAsync();
            }

            damaged += backend.Damage() is null ? 0 : 1;
            await using var again = await Instance.StartAsync(backend);
            all.Add(await burst.CountAsync(again));
        }

        return new Finding("a sync of the disk fails once", rounds, all.Acknowledged, all.Lost,
            $"{refused} refused, {all.Untold} of them there; {all.Broken} in part; {damaged} files damaged; wrote again without a restart {recovered} of {rounds}",
            all.Sound && refused > 0 && damaged == 0 && recovered == rounds);
    }
}
