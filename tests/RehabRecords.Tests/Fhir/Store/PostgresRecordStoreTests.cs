using System.Collections.Concurrent;
using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Tests.Fhir.Store;

/// <summary>What is so with a database server only: several processes on one record, and a server that goes away.</summary>
public sealed partial class PostgresRecordStoreTests : IAsyncLifetime
{
    private static readonly DateTimeOffset Noon = new(2026, 3, 1, 12, 0, 0, TimeSpan.Zero);

    private readonly string _schema = "t_" + Guid.NewGuid().ToString("N")[..24];
    private readonly List<RecordStore> _stores = [];

    private SetClock Clock { get; } = new(Noon);

    public Task InitializeAsync() => Task.CompletedTask;

    public async Task DisposeAsync()
    {
        foreach (var store in _stores)
            await store.DisposeAsync();
        if (TestEngine.IsPostgresql)
            TestEngine.Run($"DROP SCHEMA IF EXISTS {_schema} CASCADE");
    }

    [OnPostgresql]
    public async Task The_server_says_itself_that_it_keeps_what_is_acknowledged()
    {
        var store = await OpenAsync();
        foreach (var (setting, value) in new[] { ("fsync", "on"), ("full_page_writes", "on"), ("synchronous_commit", "on"), ("server_encoding", "UTF8"), ("TimeZone", "UTC"), ("standby", "false") })
            Assert.Equal(value, store.EngineSettings[setting]);
        Assert.True(int.Parse(store.EngineSettings["server_version_num"]) >= 150000);
    }

    [OnPostgresql]
    public async Task Each_connection_keeps_its_promises_itself_whatever_the_database_was_set_to()
    {
        var database = _schema + "_careless";
        TestEngine.Run($"CREATE DATABASE {database}");
        try
        {
            TestEngine.Run($"ALTER DATABASE {database} SET synchronous_commit=off; ALTER DATABASE {database} SET timezone='Pacific/Apia'");
            await using var store = await RecordStore.OpenPostgresAsync($"{TestEngine.Connection};Database={database}", _schema, TestIndex.Indexer, Clock, 1);
            foreach (var (setting, written, read) in new[]
            {
                ("synchronous_commit", "on", "on"), ("TimeZone", "UTC", "UTC"), ("statement_timeout", "8s", "8s"), ("lock_timeout", "6s", "5s"),
                ("idle_in_transaction_session_timeout", "4s", "10s"), ("default_transaction_read_only", "off", "on"),
            })
            {
                Assert.Equal(written, await store.Writers.EnqueueAsync(s => s.One($"SELECT current_setting('{setting}')")!, default));
                Assert.Equal(read, await store.Readers.ReadAsync(s => s.One($"SELECT current_setting('{setting}')")!, default));
            }
        }
        finally
        {
            TestEngine.Run($"DROP DATABASE {database} WITH (FORCE)");
        }
    }

    [OnPostgresql]
    public async Task A_database_that_cannot_hold_every_text_is_refused()
    {
        var database = _schema + "_ascii";
        TestEngine.Run($"CREATE DATABASE {database} ENCODING 'SQL_ASCII' LC_COLLATE 'C' LC_CTYPE 'C' TEMPLATE template0");
        try
        {
            var refused = await Assert.ThrowsAsync<StoreUnusableException>(() => RecordStore.OpenPostgresAsync($"{TestEngine.Connection};Database={database}", _schema, TestIndex.Indexer, Clock));
            Assert.Contains("ENCODING 'UTF8'", refused.Message, StringComparison.Ordinal);
        }
        finally
        {
            TestEngine.Run($"DROP DATABASE {database} WITH (FORCE)");
        }
    }

    [OnPostgresql]
    public async Task What_cannot_be_opened_is_refused_without_saying_the_password()
    {
        foreach (var (connection, schema, says) in new[]
        {
            ("Host=127.0.0.1;Port=1;Username=u;Password=geheim;Database=d", "rehab", "cannot be opened"),
            ($"{TestEngine.Connection};Password=geheim;Database=nowhere", "rehab", "does not exist"),
            ("Hots=127.0.0.1;Password=geheim", "rehab", "keywords is not known"),
            (TestEngine.Connection, "x; DROP SCHEMA y", "is no name of a schema"),
        })
        {
            var refused = await Assert.ThrowsAsync<StoreUnusableException>(() => RecordStore.OpenPostgresAsync(connection, schema, TestIndex.Indexer, Clock));
            Assert.Contains(says, refused.Message, StringComparison.Ordinal);
            Assert.DoesNotContain("geheim", refused.ToString(), StringComparison.Ordinal);
        }
    }

    [OnPostgresql]
    public async Task A_role_that_may_only_add_versions_and_links_runs_the_service_and_can_change_no_event()
    {
        await using (await OpenAsync())
        {
        }

        var role = _schema + "_service";
        // As docs/operations.md has it.
        TestEngine.Run($"""
            CREATE ROLE {role} LOGIN;
            GRANT USAGE ON SCHEMA {_schema} TO {role};
            GRANT SELECT, INSERT, UPDATE, DELETE ON ALL TABLES IN SCHEMA {_schema} TO {role};
            REVOKE UPDATE, DELETE ON {_schema}.version, {_schema}.audit_link FROM {role};
            REVOKE INSERT, UPDATE, DELETE ON {_schema}.schemaversions FROM {role};
            GRANT USAGE ON ALL SEQUENCES IN SCHEMA {_schema} TO {role};
            DO $$ BEGIN EXECUTE (SELECT string_agg(format('REVOKE ALL ON %s FROM {role}', inhrelid::regclass), '; ') FROM pg_inherits WHERE inhparent='{_schema}.version'::regclass); END $$
            """);
        try
        {
            await using var store = await RecordStore.OpenPostgresAsync(TestEngine.Connection.Replace("Username=rehab", $"Username={role}", StringComparison.Ordinal), _schema, TestIndex.Indexer, Clock);
            var person = await store.CreateAsync(Samples.Person("1"));
            await store.UpdateAsync(new Patient { Id = person.Id }, 1);
            await store.DeleteAsync("Patient", person.Id, 2);
            await store.CreateAsync(new AuditEvent { Entity = [new() { What = new ResourceReference("Patient/p1") }] });
            Assert.Equal(1, (await store.ExtendAuditChainAsync()).Number);
            Assert.Equal(3, (await store.HistoryAsync("Patient", person.Id)).Count);
            foreach (var sql in new[] { "UPDATE version SET json=''", "DELETE FROM version", "TRUNCATE version", "UPDATE audit_link SET hash=''", "DELETE FROM audit_link", "UPDATE version_0 SET json=''", "DELETE FROM version_0" })
                Assert.Equal("42501", (await Assert.ThrowsAsync<Npgsql.PostgresException>(() => store.Writers.EnqueueAsync(s => s.Run(sql), default))).SqlState);
        }
        finally
        {
            TestEngine.Run($"DROP OWNED BY {role}; DROP ROLE {role}");
        }
    }

    [OnPostgresql]
    public async Task A_schema_newer_than_the_program_is_refused_and_left_as_it_is()
    {
        var store = await OpenAsync();
        await store.CreateAsync(Samples.Person("1"));
        TestEngine.Run($"INSERT INTO {_schema}.schemaversions (scriptname, applied) VALUES ('RehabRecords.Fhir.Store.Schema.Postgres.9999_from_the_future.sql', '2099-01-01')");
        var refused = await Assert.ThrowsAsync<StoreUnusableException>(OpenAsync);
        Assert.Contains("newer version of this program", refused.Message, StringComparison.Ordinal);
        Assert.Contains("9999_from_the_future", refused.Message, StringComparison.Ordinal);
    }

    [OnPostgresql]
    public async Task Many_processes_that_make_the_same_new_schema_at_once_make_it_once()
    {
        var stores = await Task.WhenAll(Enumerable.Range(0, 4).Select(_ => Task.Run(OpenAsync)));
        var ids = new List<string>();
        foreach (var store in stores)
            ids.Add((await store.CreateAsync(Samples.Person())).Id);
        Assert.Equal(ids, (await stores[0].FindAsync("Patient", "")).Select(p => p.Id));
    }

    [OnPostgresql]
    public async Task Whoever_follows_the_commits_of_three_processes_misses_none_and_sees_them_in_their_order()
    {
        var stores = new[] { await OpenAsync(), await OpenAsync(), await OpenAsync() };
        using var done = new CancellationTokenSource();
        var followed = new List<long>();
        var follower = Task.Run(async () =>
        {
            var last = 0L;
            while (true)
            {
                var isLast = done.IsCancellationRequested;
                var changes = await stores[0].ChangesAfterAsync(last, ["Patient", "Observation"], 50);
                followed.AddRange(changes.Select(c => c.Sequence));
                last = changes.Count > 0 ? changes[^1].Sequence : last;
                if (isLast && changes.Count == 0)
                    return;
            }
        });
        var written = new ConcurrentBag<long>();
        await Task.WhenAll(Enumerable.Range(0, 12).Select(n => Task.Run(async () =>
        {
            for (var i = 0; i < 25; i++)
            {
                var set = new WriteSet();
                var person = set.Create(Samples.Person());
                for (var k = 0; k < n % 4; k++)
                    set.Create(Samples.Result(person.Id!, k));
                foreach (var version in (await stores[n % 3].CommitAsync(set)).Written)
                    written.Add(version.Sequence);
            }
        })));
        await done.CancelAsync();
        await follower;
        Assert.Equal(written.Order(), followed);
    }

    [OnPostgresql]
    public async Task Two_processes_on_one_resource_lose_no_update()
    {
        var stores = new[] { await OpenAsync(), await OpenAsync() };
        var patient = Samples.Person();
        await stores[0].CreateAsync(patient);
        var acknowledged = new ConcurrentBag<string>();
        await Task.WhenAll(Enumerable.Range(0, 16).Select(writer => Task.Run(async () =>
        {
            var store = stores[writer % 2];
            for (var done = 0; done < 6;)
            {
                var (mine, version) = (await store.GetAsync<Patient>(patient.Id!))!.Value;
                mine.Name.Add(new HumanName { Family = $"{writer}-{done}" });
                try
                {
                    await store.UpdateAsync(mine, version);
                    acknowledged.Add($"{writer}-{done}");
                    done++;
                }
                catch (RefusedException e) when (e.Refusal == Refusal.StaleVersion)
                {
                }
            }
        })));
        var (final, last) = (await stores[1].GetAsync<Patient>(patient.Id!))!.Value;
        Assert.Equal(acknowledged.Order(StringComparer.Ordinal), final.Name.Skip(1).Select(n => n.Family).Order(StringComparer.Ordinal));
        Assert.Equal(1 + (16 * 6), last);
        Assert.Equal(Enumerable.Range(1, last).Reverse(), (await stores[0].HistoryAsync("Patient", patient.Id!)).Select(h => h.Version));
    }

    [OnPostgresql]
    public async Task Of_many_in_two_processes_who_claim_an_identifier_or_send_the_same_key_one_is_first_and_the_others_hear_of_it()
    {
        var stores = new[] { await OpenAsync(), await OpenAsync() };
        for (var round = 0; round < 20; round++)
        {
            var said = await Task.WhenAll(Enumerable.Range(0, 12).Select(n => Task.Run(async () =>
            {
                try
                {
                    return (await stores[n % 2].CreateAsync(Samples.Person($"shared {round}"))).Id;
                }
                catch (RefusedException e) when (e.Refusal == Refusal.Conflict)
                {
                    return "";
                }
            })));
            Assert.Equal(Assert.Single(said, id => id.Length > 0), await stores[round % 2].HolderOfAsync("Patient", Samples.System, $"shared {round}"));

            var answers = await Task.WhenAll(Enumerable.Range(0, 12).Select(n => Task.Run(() =>
            {
                var set = new WriteSet { Key = new IdempotencyKey("client", $"round {round}", "aa") };
                set.Answer = new StoredAnswer(201, set.Create(Samples.Person()).Id!, default);
                return stores[n % 2].CommitAsync(set);
            })));
            var winner = Assert.Single(answers, a => !a.WasRepeat).Written[0].Id;
            Assert.All(answers.Where(a => a.WasRepeat), a => Assert.Equal(winner, a.EarlierAnswer!.Location));
        }

        Assert.Equal(40, (await stores[0].FindAsync("Patient", "")).Count);
    }

    [OnPostgresql]
    public async Task What_is_written_after_a_copy_says_a_later_time_also_by_a_clock_that_is_behind()
    {
        var (ahead, behind) = (new SetClock(Noon), new SetClock(Noon.AddMinutes(-10)));
        var (one, two) = (await OpenAsync(ahead), await OpenAsync(behind));
        await two.CreateAsync(Samples.Person());
        DateTimeOffset at;
        using (var snapshot = await one.SnapshotAsync())
        {
            at = snapshot.At;
            var late = await two.CreateAsync(Samples.Person());
            Assert.Equal(Noon, at);
            Assert.True(late.LastUpdated > at, $"{late.LastUpdated:O} is not after {at:O}");
            Assert.Single(snapshot.Current("Patient", new SnapshotScope(false, null)));
        }

        using var next = await two.SnapshotAsync();
        Assert.Single(next.Current("Patient", new SnapshotScope(false, at)));
    }

    [OnPostgresql]
    public async Task A_process_that_stands_still_in_its_turn_holds_the_others_up_for_a_few_seconds_only()
    {
        var (one, two) = (await OpenAsync(), await OpenAsync());
        using var inTurn = new ManualResetEventSlim();
        using var go = new ManualResetEventSlim();
        var stopped = one.Writers.EnqueueAsync(
            s =>
            {
                s.Run("INSERT INTO fact (name, value) VALUES ('never', 'kept')");
                inTurn.Set();
                return go.Wait(TimeSpan.FromSeconds(30));
            },
            default);
        inTurn.Wait();
        var waited = System.Diagnostics.Stopwatch.StartNew();
        await two.CreateAsync(Samples.Person());
        Assert.InRange(waited.Elapsed.TotalSeconds, 0, 7);
        go.Set();
        Assert.Equal(Refusal.Unavailable, (await Assert.ThrowsAsync<RefusedException>(() => stopped)).Refusal);
        Assert.Null(await two.Readers.ReadAsync(s => s.Rows("SELECT value FROM fact WHERE name='never'", r => r.GetString(0)).FirstOrDefault() ?? (object?)null, default));
        await one.CreateAsync(Samples.Person());
    }

    [OnPostgresql]
    public async Task What_one_instance_made_of_the_results_of_somebody_erased_by_another_is_found_no_more()
    {
        var (here, there) = (await OpenAsync(), await OpenAsync());
        var person = (await here.CreateAsync(Samples.Person())).Id;
        await here.CreateAsync(Samples.Result(person, 40));
        Assert.Equal(["40"], await ValuesAsync());
        await there.EraseAsync(Samples.Erasure(person, Noon));

        Assert.Empty(await ValuesAsync());

        async Task<IEnumerable<string>> ValuesAsync() => (await here.FindAsync("Observation", $"subject=Patient/{person}")).Select(v => here.ReadingOf<Observation, string>(v, r => $"{((Quantity)r.Value!).Value}"));
    }

    private Task<RecordStore> OpenAsync() => OpenAsync(Clock);

    private async Task<RecordStore> OpenAsync(TimeProvider clock, string? connection = null)
    {
        var store = await RecordStore.OpenPostgresAsync(connection ?? TestEngine.Connection, _schema, TestIndex.Indexer, clock, 2);
        lock (_stores)
            _stores.Add(store);
        return store;
    }
}
