using System.Net;
using RehabRecords.Fhir.Store;
using RehabRecords.Tests.Fhir.Store;

namespace RehabRecords.Tests.Rest.Bulk;

/// <summary>Many clients, ends of the process, and time that passes.</summary>
public sealed class BulkJobsTests
{
    [Fact]
    public async Task More_than_may_wait_are_refused_and_those_that_wait_are_made()
    {
        await using var app = new Closing(new TestApp { Clock = new TestClock(DateTimeOffset.Parse("2026-06-15T12:00:00Z")), Settings = { ["RehabRecords:Exports:Waiting"] = "2" } });
        await app.App.Store.CreateAsync(Samples.Person());
        var addresses = new List<string>();
        using (await Busy.Async(app.App.Store))
        {
            for (var i = 0; i < 2; i++)
            {
                using var taken = await AskAsync(app.App);
                addresses.Add(taken.Content.Headers.ContentLocation!.ToString());
            }

            using var refused = await AskAsync(app.App);
            await refused.RefusedAsync(429, "2 exports wait");
            Assert.NotNull(refused.Headers.RetryAfter);
            using var first = await app.App.SendAsync("GET", BulkCalls.PathOf(addresses[0]));
            Assert.Equal(HttpStatusCode.Accepted, first.StatusCode);
            using var tooSoon = await app.App.SendAsync("GET", BulkCalls.PathOf(addresses[0]));
            await tooSoon.RefusedAsync(429, "a moment ago");
            // Withdrawn before its turn: it makes room at once.
            using var withdrawn = await app.App.SendAsync("DELETE", BulkCalls.PathOf(addresses[1]));
            Assert.Equal(HttpStatusCode.Accepted, withdrawn.StatusCode);
            using var another = await AskAsync(app.App);
            addresses[1] = another.Content.Headers.ContentLocation!.ToString();
        }

        foreach (var address in addresses)
            Assert.Single((await BulkCalls.ManifestAsync(app.App, address)).Manifest["output"]!.AsArray());
    }

    [Fact]
    public async Task What_was_asked_for_before_the_process_ended_is_made_after_the_next_start_and_what_was_done_is_still_there()
    {
        var folder = Directory.CreateTempSubdirectory("rehab-bulk-").FullName;
        string done, unfinished;
        await using (var app = new Closing(new TestApp { Again = folder }))
        {
            await app.App.Store.CreateAsync(Samples.Person());
            using var first = await AskAsync(app.App);
            done = first.Content.Headers.ContentLocation!.ToString();
            await BulkCalls.ManifestAsync(app.App, done);
            using var busy = await Busy.Async(app.App.Store);
            using var second = await AskAsync(app.App);
            unfinished = second.Content.Headers.ContentLocation!.ToString();
        }

        Directory.CreateDirectory(Path.Combine(folder, "exports", "not-a-job"));
        await using (var app = new Closing(new TestApp { Again = folder }))
        {
            foreach (var address in new[] { done, unfinished })
            {
                var (manifest, _) = await BulkCalls.ManifestAsync(app.App, address);
                Assert.Single(await BulkCalls.LinesAsync(app.App, manifest["output"]![0]!));
            }

            Assert.False(Directory.Exists(Path.Combine(folder, "exports", "not-a-job")));
        }

        Directory.Delete(folder, recursive: true);
    }

    [Fact]
    public async Task What_was_kept_as_long_as_was_said_is_deleted()
    {
        var clock = new TestClock(DateTimeOffset.Parse("2026-06-15T12:00:00Z"));
        await using var app = new Closing(new TestApp { Clock = clock, Settings = { ["RehabRecords:Exports:KeptHours"] = "2" } });
        await app.App.Store.CreateAsync(Samples.Person());
        using var asked = await AskAsync(app.App);
        var address = asked.Content.Headers.ContentLocation!.ToString();
        var (_, answer) = await BulkCalls.ManifestAsync(app.App, address);
        Assert.Equal(DateTimeOffset.Parse("2026-06-15T14:00:00Z"), answer.Content.Headers.Expires);
        clock.Now += TimeSpan.FromHours(2);
        using var gone = await app.App.SendAsync("GET", BulkCalls.PathOf(address));
        await gone.RefusedAsync(404, "no such export");
        Assert.Empty(Directory.EnumerateFileSystemEntries(Path.Combine(app.App.Folder, "exports")));
    }

    private static Task<HttpResponseMessage> AskAsync(TestApp app) => app.SendAsync("GET", "/$export", headers: ("Prefer", "respond-async"));

    /// <summary>All places for long reads taken, so that no export can begin.</summary>
    private sealed class Busy(List<RecordSnapshot> snapshots) : IDisposable
    {
        public static async Task<Busy> Async(RecordStore store)
        {
            var snapshots = new List<RecordSnapshot>();
            for (var i = 0; i < 4; i++)
                snapshots.Add(await store.SnapshotAsync());
            return new Busy(snapshots);
        }

        public void Dispose() => snapshots.ForEach(s => s.Dispose());
    }

    private sealed class Closing(TestApp app) : IAsyncDisposable
    {
        public TestApp App => app;

        public ValueTask DisposeAsync() => new(((IAsyncLifetime)app).DisposeAsync());
    }
}
