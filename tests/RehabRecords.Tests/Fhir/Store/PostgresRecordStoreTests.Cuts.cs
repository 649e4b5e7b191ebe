using System.Collections.Concurrent;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Tests.Fhir.Store;

public sealed partial class PostgresRecordStoreTests
{
    [OnPostgresql]
    public async Task A_commit_whose_answer_is_lost_is_looked_up_and_stored_once()
    {
        using var proxy = new CuttingProxy(TestEngine.Connection);
        var store = await OpenAsync(Clock, proxy.Connection);
        await store.CreateAsync(Samples.Person());
        foreach (var cut in new[] { CuttingProxy.Cut.AfterCommit, CuttingProxy.Cut.BeforeCommit, CuttingProxy.Cut.AfterCommit })
        {
            var before = (await store.FindAsync("Patient", "")).Count;
            proxy.Next = cut;
            var written = await store.CreateAsync(Samples.Person());
            Assert.Equal(before + 1, (await store.FindAsync("Patient", "")).Count);
            Assert.Equal(written.Json.ToArray(), (await store.ReadAsync("Patient", written.Id))!.Json.ToArray());
        }

        Assert.Equal(3, proxy.Cuts);
    }

    [OnPostgresql]
    public async Task While_the_server_is_away_all_is_refused_for_the_moment_and_afterwards_goes_on_by_itself()
    {
        using var proxy = new CuttingProxy(TestEngine.Connection);
        var store = await OpenAsync(Clock, proxy.Connection);
        var person = await store.CreateAsync(Samples.Person());
        await store.ReadAsync("Patient", person.Id);
        for (var round = 0; round < 2; round++)
        {
            proxy.Down = true;
            Assert.Equal(Refusal.Unavailable, (await Assert.ThrowsAsync<RefusedException>(() => store.ReadAsync("Patient", person.Id))).Refusal);
            Assert.Equal(Refusal.Unavailable, (await Assert.ThrowsAsync<RefusedException>(() => store.CreateAsync(Samples.Person()))).Refusal);
            Assert.Equal(Refusal.Unavailable, (await Assert.ThrowsAsync<RefusedException>(() => store.SnapshotAsync())).Refusal);
            Assert.False(await store.IsReachableAsync());
            Assert.NotNull(store.WriteFault);
            proxy.Down = false;
            Assert.True(await store.IsReachableAsync());
            Assert.NotNull(await store.ReadAsync("Patient", person.Id));
            await store.CreateAsync(Samples.Person());
            Assert.Null(store.WriteFault);
        }

        Assert.Equal(3, (await store.FindAsync("Patient", "")).Count);
    }

    [OnPostgresql]
    public async Task At_whichever_moment_a_server_hangs_up_that_is_told_as_unavailable()
    {
        using var proxy = new CuttingProxy(TestEngine.Connection);
        var store = await OpenAsync(Clock, proxy.Connection);
        var person = await store.CreateAsync(Samples.Person());
        var (answered, refused) = (0, 0);
        // One call in some two hundred is hung up on between being taken and the first word.
        var readers = Enumerable.Range(0, 6).Select(_ => Task.Run(async () =>
        {
            for (var i = 0; i < 1000; i++)
            {
                try
                {
                    await store.ReadAsync("Patient", person.Id);
                    Interlocked.Increment(ref answered);
                }
                catch (RefusedException e) when (e.Refusal == Refusal.Unavailable)
                {
                    Interlocked.Increment(ref refused);
                }
            }
        })).ToList();
        while (Volatile.Read(ref answered) == 0 && !readers.TrueForAll(r => r.IsCompleted))
            await Task.Yield();
        proxy.Down = true;
        await Task.WhenAll(readers);
        Assert.Equal(6000, answered + refused);
        Assert.True(refused > 2000, $"{answered} were answered before the server was gone.");
    }

    [OnPostgresql]
    public async Task What_was_acknowledged_is_there_and_nothing_twice_though_connections_are_killed_all_the_while()
    {
        var store = await OpenAsync(Clock, $"{TestEngine.Connection};Application Name={_schema}");
        var (acknowledged, refused) = (new ConcurrentBag<string>(), new ConcurrentBag<string>());
        // On a busy machine hardly anything is stored between two kills.
        using var over = new CancellationTokenSource(TimeSpan.FromSeconds(20));
        var killer = Task.Run(async () =>
        {
            while (!over.IsCancellationRequested)
            {
                await Task.Delay(350);
                TestEngine.Run($"SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE application_name='{_schema}'");
            }
        });
        await Task.WhenAll(Enumerable.Range(0, 8).Select(n => Task.Run(async () =>
        {
            for (var i = 0; !over.IsCancellationRequested; i++)
            {
                var set = new WriteSet { Key = new IdempotencyKey("client", $"{n}-{i}", "aa") };
                var person = set.Create(Samples.Person());
                for (var k = 0; k < 4; k++)
                    set.Create(Samples.Result(person.Id!, k));
                set.Answer = new StoredAnswer(201, person.Id!, default);
                try
                {
                    if (acknowledged.Count > 200)
                        await over.CancelAsync();
                    acknowledged.Add((await store.CommitAsync(set)) is { WasRepeat: true } again ? again.EarlierAnswer!.Location : person.Id!);
                }
                catch (RefusedException e) when (e.Refusal == Refusal.Unavailable)
                {
                    refused.Add(person.Id!);
                }
            }
        })));
        await killer;

        var there = (await store.FindAsync("Patient", "")).Select(p => p.Id).ToList();
        Assert.True(!acknowledged.IsEmpty, $"{acknowledged.Count} acknowledged, {refused.Count} refused");
        Assert.Empty(acknowledged.Except(there));
        Assert.Equal(there.Count, there.Distinct().Count());
        Assert.Empty(there.Except(acknowledged).Except(refused));
        var results = (await store.FindAllAsync<Hl7.Fhir.Model.Observation>("code=pegs")).GroupBy(o => o.Subject!.Reference);
        Assert.All(results, g => Assert.Equal(4, g.Count()));
        Assert.Equal(there.Count, results.Count());
    }
}
