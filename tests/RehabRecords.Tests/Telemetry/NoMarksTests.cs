using System.Diagnostics;
using Microsoft.Extensions.Logging;
using Xunit.Abstractions;

namespace RehabRecords.Tests.Telemetry;

/// <summary>
/// Invented people whose names, numbers and words stand nowhere else go through every face of a running service, and secrets with them, in requests
/// that are answered and in requests of every kind that is refused. Nothing that the service tells an operator holds any of it.
/// </summary>
public sealed class NoMarksTests(ITestOutputHelper output)
{
    private static readonly int[] Wanted = [200, 201, 204, 400, 401, 403, 404, 405, 409, 412, 413, 415, 422, 500, 503];

    [Fact]
    public async Task Whatever_is_sent_no_log_trace_measurement_or_database_log_names_anybody_or_holds_a_secret()
    {
        var marks = new Marks();
        await using var collector = await Collector.StartAsync();
        var app = new MarkedApp(marks, collector.Address);
        var server = ServerLog();
        var statuses = new SortedDictionary<int, int>();
        try
        {
            var course = new MarkedCourse(app, marks, statuses);
            await course.TradeAsync();
            await course.FhirAsync();
            await course.PagesAsync();
            await course.StrangersAsync();
            await course.FailuresAsync();
        }
        finally
        {
            // Closing it sends what is left.
            await ((IAsyncLifetime)app).DisposeAsync();
        }

        await collector.HearAsync("traces", "http.route");
        await collector.HearAsync("metrics", "rehabrecords.writes");
        var (log, traces, metrics, database) = (string.Join('\n', app.Heard.Lines), collector.TextOf("traces"), collector.TextOf("metrics"), server());
        output.WriteLine($"{statuses.Values.Sum()} requests: {string.Join(", ", statuses.Select(s => $"{s.Key} {s.Value}"))}");
        output.WriteLine($"{marks.Count} marks looked for in {app.Heard.Lines.Count} lines of the log, {traces.Length} bytes of traces, {metrics.Length} of measurements, {database.Length} of the database's log");
        Assert.Empty(Wanted.Except(statuses.Keys));
        // All of them said something, so that nothing found means something.
        Assert.Contains("answered 500", log);
        Assert.Contains("System.FormatException", log);
        Assert.Contains("http.route", traces);
        Assert.Contains("rehabrecords.writes", metrics);
        foreach (var (where, text) in new[] { ("log", log), ("traces", traces), ("measurements", metrics), ("database's log", database) })
            Assert.True(marks.In(text) is { Count: 0 } found, $"{where}: {string.Join("\n", marks.In(text))}");
        // Nobody writes a line of his own into the log.
        Assert.DoesNotContain(app.Heard.Lines, line => line.Contains("FORGED", StringComparison.Ordinal));
    }

    [Fact]
    public async Task A_mark_that_is_told_is_found_in_each_of_them()
    {
        var marks = new Marks();
        var (said, traced, counted) = (marks["said"], marks["traced"], marks["counted"]);
        await using var collector = await Collector.StartAsync();
        var app = new MarkedApp(marks, collector.Address);
        var server = ServerLog();
        try
        {
            app.Service<ILoggerFactory>().CreateLogger("RehabRecords.Somewhere").LogDebug("{Name}", said);
            using (var source = new ActivitySource("Microsoft.AspNetCore"))
            using (var activity = source.StartActivity("one", ActivityKind.Server))
                activity!.SetTag("http.route", traced).SetTag("url.path", marks["path"]);
            RehabRecords.Telemetry.Measured.MadeAgain.Add(1, new KeyValuePair<string, object?>("name", counted));
            if (TestEngine.IsPostgresql)
                Assert.Throws<Npgsql.PostgresException>(() => TestEngine.Run($"SELECT '{said}'::int"));
        }
        finally
        {
            await ((IAsyncLifetime)app).DisposeAsync();
        }

        Assert.Contains(said, Assert.Single(marks.In(string.Join('\n', app.Heard.Lines))));
        // The route is sent, and the path beside it is not.
        await collector.HearAsync("traces", traced);
        Assert.Contains(traced, Assert.Single(marks.In(collector.TextOf("traces"))));
        await collector.HearAsync("metrics", counted);
        Assert.Contains(counted, Assert.Single(marks.In(collector.TextOf("metrics"))));
        if (TestEngine.IsPostgresql)
            Assert.Contains(said, Assert.Single(marks.In(server())));
    }

    /// <summary>What the database server writes to its log from now on; nothing where there is no server.</summary>
    private static Func<string> ServerLog()
    {
        if (!TestEngine.IsPostgresql)
            return () => "";
        var file = Path.Combine(Environment.GetEnvironmentVariable("REHAB_TEST_POSTGRES_FOLDER") ?? throw new InvalidOperationException("REHAB_TEST_POSTGRES_FOLDER is not set; tests/postgres sets it."), "log");
        var begin = new FileInfo(file).Length;
        return () =>
        {
            using var log = new FileStream(file, FileMode.Open, FileAccess.Read, FileShare.ReadWrite);
            log.Seek(begin, SeekOrigin.Begin);
            return new StreamReader(log).ReadToEnd();
        };
    }
}
