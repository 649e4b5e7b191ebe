using System.Diagnostics;
using Microsoft.Data.Sqlite;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Search;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Tests.Fhir.Store;

/// <summary>What is so with SQLite only.</summary>
public sealed class SqliteRecordStoreTests : IAsyncLifetime
{
    private readonly string _folder = Directory.CreateTempSubdirectory("records-").FullName;
    private RecordStore? _store;

    private RecordStore Store => _store!;

    private SetClock Clock { get; } = new(new DateTimeOffset(2026, 3, 1, 12, 0, 0, TimeSpan.Zero));

    public async Task InitializeAsync() => _store = await OpenAsync(TestIndex.Indexer, Clock);

    public async Task DisposeAsync()
    {
        await Store.DisposeAsync();
        Directory.Delete(_folder, recursive: true);
    }

    private Task<RecordStore> OpenAsync(SearchIndexer indexer, TimeProvider clock) => RecordStore.OpenSqliteAsync(_folder, indexer, clock);

    [Theory]
    [InlineData("journal_mode", "wal")]
    [InlineData("synchronous", "2")]
    [InlineData("foreign_keys", "1")]
    [InlineData("busy_timeout", "5000")]
    [InlineData("trusted_schema", "0")]
    [InlineData("cell_size_check", "1")]
    [InlineData("secure_delete", "1")]
    [InlineData("journal_size_limit", "67108864")]
    [InlineData("mmap_size", "0")]
    public void The_engine_says_itself_that_it_keeps(string setting, string value) => Assert.Equal(value, Store.EngineSettings[setting]);

    [Fact]
    public void The_engine_is_new_enough_not_to_corrupt_its_log() =>
        Assert.True(Version.Parse(Store.EngineSettings["sqlite_version"]) >= new Version(3, 51, 3), Store.EngineSettings["sqlite_version"]);

    [Fact]
    public async Task The_writer_and_the_readers_themselves_run_with_these_settings()
    {
        await Store.CreateAsync(Samples.Person());
        Assert.Equal(2L, await Store.Writers.EnqueueAsync(s => s.One("PRAGMA synchronous")!, default));
        Assert.Equal(1L, await Store.Writers.EnqueueAsync(s => s.One("PRAGMA secure_delete")!, default));
        Assert.Equal("ok", await Store.Writers.EnqueueAsync(s => s.One("PRAGMA integrity_check")!, default));
    }

    [Fact]
    public async Task A_folder_in_use_is_refused_with_a_message_that_says_by_whom()
    {
        var refused = await Assert.ThrowsAsync<StoreUnusableException>(() => OpenAsync(TestIndex.Indexer, Clock));
        Assert.Contains($"is in use by process {Environment.ProcessId}", refused.Message, StringComparison.Ordinal);
        await Store.CreateAsync(Samples.Person());
    }

    [Fact]
    public async Task A_folder_that_another_process_has_locked_is_refused()
    {
        if (!OperatingSystem.IsLinux())
            return;
        var folder = Directory.CreateTempSubdirectory("locked-").FullName;
        await File.WriteAllTextAsync(Path.Combine(folder, "store.lock"), "");
        using var holder = Process.Start(new ProcessStartInfo("flock", ["--exclusive", Path.Combine(folder, "store.lock"), "sh", "-c", "echo locked; read line"])
        {
            RedirectStandardOutput = true,
            RedirectStandardInput = true,
        })!;
        Assert.Equal("locked", await holder.StandardOutput.ReadLineAsync());

        await Assert.ThrowsAsync<StoreUnusableException>(() => RecordStore.OpenSqliteAsync(folder, TestIndex.Indexer, Clock));

        await holder.StandardInput.WriteLineAsync("done");
        await holder.WaitForExitAsync();
        await using (await RecordStore.OpenSqliteAsync(folder, TestIndex.Indexer, Clock))
            Assert.True(File.Exists(Path.Combine(folder, "records.db")));
        Directory.Delete(folder, recursive: true);
    }

    [Fact]
    public async Task A_schema_newer_than_the_program_is_refused_and_left_as_it_is()
    {
        await Store.CreateAsync(Samples.Person("1"));
        await Store.Writers.EnqueueAsync(
            s => s.Run("INSERT INTO SchemaVersions (ScriptName, Applied) VALUES ('RehabRecords.Fhir.Store.Schema.Sqlite.9999_from_the_future.sql', '2099-01-01')"), default);
        await Store.DisposeAsync();

        var refused = await Assert.ThrowsAsync<StoreUnusableException>(() => OpenAsync(TestIndex.Indexer, Clock));
        Assert.Contains("newer version of this program", refused.Message, StringComparison.Ordinal);
        Assert.Contains("9999_from_the_future", refused.Message, StringComparison.Ordinal);

        await using (var connection = new SqliteConnection($"Data Source={Path.Combine(_folder, "records.db")};Pooling=False"))
        {
            connection.Open();
            using var command = connection.CreateCommand();
            command.CommandText = "DELETE FROM SchemaVersions WHERE ScriptName LIKE '%future%'";
            Assert.Equal(1, command.ExecuteNonQuery());
        }

        _store = await OpenAsync(TestIndex.Indexer, Clock);
        Assert.NotNull(await Store.HolderOfAsync("Patient", Samples.System, "1"));
    }

    [Fact]
    public async Task A_file_that_is_no_database_is_refused_with_its_name()
    {
        var folder = Directory.CreateTempSubdirectory("broken-").FullName;
        await File.WriteAllBytesAsync(Path.Combine(folder, "records.db"), [.. Enumerable.Repeat((byte)'x', 16384)]);
        var refused = await Assert.ThrowsAsync<StoreUnusableException>(() => RecordStore.OpenSqliteAsync(folder, TestIndex.Indexer, Clock));
        Assert.Contains("records.db", refused.Message, StringComparison.Ordinal);
        Directory.Delete(folder, recursive: true);
    }

    [Fact]
    public async Task When_the_disk_is_full_writes_are_refused_reads_go_on_and_writing_resumes_by_itself()
    {
        var first = await Store.CreateAsync(Samples.Person());
        // The engine's own limit on pages stands for the end of the disk: it fails with the same error at the same place.
        var pages = (long)await Store.Writers.EnqueueAsync(s => s.One("PRAGMA page_count")!, default);
        await Store.Writers.EnqueueAsync(s => s.One($"PRAGMA max_page_count={pages}")!, default);

        var large = Samples.Person(family: new string('x', 100_000));
        var refused = await Assert.ThrowsAsync<RefusedException>(() => Store.CreateAsync(large));

        Assert.Equal(Refusal.Unavailable, refused.Refusal);
        Assert.NotNull(Store.WriteFault);
        Assert.Null(await Store.ReadAsync("Patient", large.Id!));
        Assert.NotNull(await Store.ReadAsync("Patient", first.Id));
        await Store.CreateAsync(large);
        Assert.Null(Store.WriteFault);
        Assert.Equal("ok", await Store.Writers.EnqueueAsync(s => s.One("PRAGMA integrity_check")!, default));
    }

    [Fact]
    public async Task What_a_reader_may_still_see_is_not_said_to_be_cleared()
    {
        await Store.CreateAsync(Samples.Person(family: "Beforehand"));
        await using (var reader = new SqliteConnection($"Data Source={Path.Combine(_folder, "records.db")};Pooling=False;Mode=ReadOnly"))
        {
            await reader.OpenAsync();
            await using var begin = reader.CreateCommand();
            begin.CommandText = "BEGIN; SELECT count(*) FROM version";
            await begin.ExecuteScalarAsync();
            await Store.CreateAsync(Samples.Person(family: "Afterwards"));
            Assert.False(await Store.ClearRemainsAsync(all: false, TimeSpan.FromMilliseconds(300)));
        }

        Assert.True(await Store.ClearRemainsAsync(all: false, TimeSpan.FromMilliseconds(300)));
        Assert.Equal(0, new FileInfo(Path.Combine(_folder, "records.db-wal")).Length);
    }
}
