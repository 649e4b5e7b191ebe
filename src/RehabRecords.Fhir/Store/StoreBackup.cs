using System.Text.Json;
using Microsoft.Data.Sqlite;

namespace RehabRecords.Fhir.Store;

/// <summary>What a backup holds, to be compared with when it is restored.</summary>
/// <param name="LastCommit">Place of the last commit in it.</param>
public sealed record BackupContent(string Format, DateTimeOffset At, string Engine, long LastCommit, IReadOnlyList<TableDigest> Tables)
{
    internal const string ThisFormat = "rehabrecords-store-1";

    public long Versions => Tables.Single(t => t.Table == "version").Rows;

    public long Rows => Tables.Sum(t => t.Rows);
}

/// <summary>
/// Backups of a whole store, made while it is used. Whatever the engine, a backup is a folder with an SQLite file of one moment and a
/// list of counts and digests; it can be restored into either engine, and looked at by starting the service on a copy of it.
/// </summary>
public static class StoreBackup
{
    private const string List = "backup.json";

    private static readonly JsonSerializerOptions _json = new(JsonSerializerDefaults.Web) { WriteIndented = true };

    /// <param name="folder">Is made; there must be none of that name.</param>
    /// <exception cref="StoreCopyException">The backup differs from the store, or there is no store.</exception>
    public static BackupContent Make(StorePlace from, string folder, DateTimeOffset at, Action<string, long>? progress = null, CancellationToken ct = default)
    {
        if (Directory.Exists(folder) || File.Exists(folder))
            throw new StoreCopyException($"{folder} exists already; a backup is never written over another. Choose another name.");
        var partial = folder + ".partial";
        if (Directory.Exists(partial))
            Directory.Delete(partial, recursive: true);
        try
        {
            Directory.CreateDirectory(partial);
            var backup = new SqlitePlace(partial);
            IReadOnlyList<TableDigest>? source = null;
            if (from is SqlitePlace file)
                CopyFile(file, backup);
            else
                source = CopyRows(from, backup, progress, ct);
            Close(backup);
            var (tables, last) = Content(backup, ct);
            if (source is not null)
                StoreCopy.Compare(source, tables, "The backup");
            var content = new BackupContent(BackupContent.ThisFormat, at, from is SqlitePlace ? "sqlite" : "postgresql", last, tables);
            File.WriteAllText(Path.Combine(partial, List), JsonSerializer.Serialize(content, _json));
            foreach (var name in Directory.EnumerateFiles(partial))
                using (var one = new FileStream(name, FileMode.Open, FileAccess.ReadWrite))
                    one.Flush(flushToDisk: true);
            Directory.Move(partial, folder);
            return content;
        }
        catch
        {
            if (Directory.Exists(partial))
                Directory.Delete(partial, recursive: true);
            throw;
        }
    }

    /// <summary>Reads all of a backup and compares it with its list.</summary>
    /// <exception cref="StoreCopyException">It is damaged, or is none.</exception>
    public static BackupContent Verify(string folder, CancellationToken ct = default)
    {
        var content = Listed(folder);
        var (tables, last) = Content(new SqlitePlace(folder), ct);
        StoreCopy.Compare(content.Tables, tables, $"The backup {folder}");
        return content with { LastCommit = last };
    }

    /// <summary>Restores a backup into a place where there is no record, and compares what is there then with its list.</summary>
    public static BackupContent Restore(string folder, StorePlace into, Action<string, long>? progress = null, CancellationToken ct = default)
    {
        var content = Verify(folder, ct);
        // The backup itself is left as it is, also where its schema is older than this program's.
        var copy = Directory.CreateTempSubdirectory("rehabrecords-restore-").FullName;
        try
        {
            CopyFile(new SqlitePlace(folder), new SqlitePlace(copy));
            var restored = CopyRows(new SqlitePlace(copy), into, progress, ct);
            // Versions are the same in every schema; the others were compared with what the copy had when they were written.
            StoreCopy.Compare([.. content.Tables.Where(t => t.Table == "version")], restored, "The restored store");
            return content;
        }
        finally
        {
            Directory.Delete(copy, recursive: true);
        }
    }

    /// <summary>Copies all of one store into another, empty one; nobody may use the first meanwhile.</summary>
    public static IReadOnlyList<TableDigest> Move(StorePlace from, StorePlace into, Action<string, long>? progress = null, CancellationToken ct = default)
    {
        if (from is SqlitePlace { Exists: false })
            throw new StoreCopyException($"There is no store in {from.Name}.");
        return CopyRows(from, into, progress, ct);
    }

    private static IReadOnlyList<TableDigest> CopyRows(StorePlace from, StorePlace into, Action<string, long>? progress, CancellationToken ct)
    {
        using var source = from.Open();
        using var target = into.Open();
        // Both have the same steps of the schema after this, so also the same columns.
        source.Upgrade();
        target.Upgrade();
        using var session = new Session(source.OpenScratch(), source);
        session.Run(source.BeginScratch);
        return StoreCopy.Run(session, target, progress, ct);
    }

    /// <summary>The engine's own copy, page by page, of one moment; a service that writes meanwhile goes on.</summary>
    private static void CopyFile(SqlitePlace from, SqlitePlace into)
    {
        if (!from.Exists)
            throw new StoreCopyException($"There is no store in {from.Name}.");
        using var source = Connect(from.Database, SqliteOpenMode.ReadOnly);
        using var target = Connect(into.Database, SqliteOpenMode.ReadWriteCreate);
        source.BackupDatabase(target);
    }

    /// <summary>One file that can be read where nothing may be written.</summary>
    private static void Close(SqlitePlace backup)
    {
        using (var connection = Connect(backup.Database, SqliteOpenMode.ReadWrite))
        using (var command = connection.CreateCommand())
        {
            command.CommandText = "PRAGMA journal_mode=DELETE";
            command.ExecuteScalar();
        }

        foreach (var file in Directory.EnumerateFiles(backup.Folder, "store.*"))
            File.Delete(file);
    }

    private static (IReadOnlyList<TableDigest> Tables, long Last) Content(SqlitePlace place, CancellationToken ct)
    {
        if (!place.Exists)
            throw new StoreCopyException($"There is no store in {place.Name}.");
        using var connection = Connect(place.Database, SqliteOpenMode.ReadOnly);
        using var session = new Session(connection);
        try
        {
            if (session.One("PRAGMA integrity_check") is var found && found as string != "ok")
                throw new StoreCopyException($"The file {place.Database} is damaged: {found}");
            session.Run("BEGIN");
            // A backup of an older program has no digests of versions.
            var digests = session.One("SELECT 1 FROM pragma_table_info('version') WHERE name='digest'") is not null;
            return (StoreCopy.Digests(session, ct, digests), (long)session.One("SELECT coalesce(max(seq), 0) FROM version")!);
        }
        catch (SqliteException e)
        {
            throw new StoreCopyException($"The file {place.Database} is damaged: {e.Message}");
        }
    }

    private static SqliteConnection Connect(string file, SqliteOpenMode mode)
    {
        var connection = new SqliteConnection(new SqliteConnectionStringBuilder { DataSource = file, Mode = mode, Pooling = false }.ToString());
        connection.Open();
        return connection;
    }

    private static BackupContent Listed(string folder)
    {
        try
        {
            return JsonSerializer.Deserialize<BackupContent>(File.ReadAllText(Path.Combine(folder, List)), _json) is { Format: BackupContent.ThisFormat } content
                ? content
                : throw new StoreCopyException($"{folder} is a backup of another format than {BackupContent.ThisFormat}.");
        }
        catch (Exception e) when (e is IOException or JsonException)
        {
            throw new StoreCopyException($"{folder} is no backup: {e.Message}");
        }
    }
}
