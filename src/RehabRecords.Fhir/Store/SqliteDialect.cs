using System.Data.Common;
using DbUp;
using DbUp.Sqlite.Helpers;
using Microsoft.Data.Sqlite;

namespace RehabRecords.Fhir.Store;

/// <summary>One file in a folder, one process, one writer.</summary>
internal sealed class SqliteDialect : Dialect
{
    /// <summary>Versions before this can corrupt a WAL file when two connections write and checkpoint at once.</summary>
    private static readonly Version _oldestSafe = new(3, 51, 3);

    // What a power cut must not take: with synchronous=NORMAL acknowledged commits were lost in simulated cuts, with FULL none.
    private static readonly (string Name, string Value, string ReadsAs)[] _settings =
    [
        ("journal_mode", "WAL", "wal"),
        ("synchronous", "FULL", "2"),
        ("foreign_keys", "ON", "1"),
        ("busy_timeout", "5000", "5000"),
        ("trusted_schema", "OFF", "0"),
        ("cell_size_check", "ON", "1"),
        ("secure_delete", "ON", "1"),
        ("journal_size_limit", "67108864", "67108864"),
        ("mmap_size", "0", "0"),
    ];

    /// <summary>Kilobytes of the file that all readers together keep in memory.</summary>
    private const int ReaderCaches = 32_000;

    private const string Folder = ".Store.Schema.Sqlite.";

    private readonly FolderLock? _lock;
    private readonly string _connection;
    private Dictionary<string, string> _readBack = [];

    private SqliteDialect(FolderLock? folderLock, string file)
    {
        _lock = folderLock;
        _connection = new SqliteConnectionStringBuilder { DataSource = file, Pooling = false }.ToString();
    }

    public override string Size => "SELECT c.page_count * s.page_size FROM pragma_page_count() c, pragma_page_size() s";

    public override string ByKey => "WITHOUT ROWID";

    // Told, because it knows nothing of how much there is in a table.
    public override string JoinInOrder => "CROSS JOIN";

    public override IReadOnlyDictionary<string, string> Settings => _readBack;

    public static SqliteDialect Open(string folder)
    {
        Directory.CreateDirectory(folder);
        return new SqliteDialect(FolderLock.Take(folder), Path.Combine(folder, "records.db"));
    }

    public static SqliteDialect Look(string folder) => new(null, Path.Combine(folder, "records.db"));

    public override bool HasDigests(Session session) => session.One("SELECT 1 FROM pragma_table_info('version') WHERE name='digest'") is not null;

    public override (string Asked, List<string> Wrong) OwnVerdict(Session session) =>
        ("the file's pages and indexes by SQLite itself", [.. session.Rows("PRAGMA integrity_check", r => r.GetString(0)).Where(said => said != "ok").Select(said => $"SQLite says of its file: {said}.")]);

    public override void Upgrade()
    {
        using var connection = (SqliteConnection)OpenWriter();
        using var shared = new SharedConnection(connection);
        var engine = DeployChanges.To.SqliteDatabase(shared)
            .WithScriptsEmbeddedInAssembly(typeof(SqliteDialect).Assembly, name => name.Contains(Folder, StringComparison.Ordinal))
            .WithTransactionPerScript()
            .WithVariablesDisabled()
            .LogToNowhere()
            .Build();
        SchemaSteps.Upgrade(engine, Folder, "The data folder");
    }

    public override DbConnection OpenWriter()
    {
        var connection = Open();
        // A commit touches a page of each index. With the usual 2 MB they were read and written out again within one commit, and with
        // the usual 4 MB of log they were copied home every few commits: writes came to two thirds of what they are now.
        Execute(connection, "PRAGMA cache_size=-32000");
        Execute(connection, "PRAGMA wal_autocheckpoint=8000");
        return connection;
    }

    public override DbConnection OpenReader()
    {
        var connection = Open();
        Execute(connection, "PRAGMA query_only=ON");
        // A page of a search touches some eighty pages of the file, most of them of the indexes: with the usual 2 MB they were read anew each time.
        Execute(connection, $"PRAGMA cache_size=-{Math.Max(2000, ReaderCaches / MostReaders)}");
        return connection;
    }

    public override DbConnection OpenScratch()
    {
        var connection = Open();
        // Temporary tables in a file of the engine's own, deleted when the connection closes: their size costs no memory.
        Execute(connection, "PRAGMA temp_store=FILE");
        return connection;
    }

    // Freed space is overwritten when it is freed (secure_delete); the log beside the file still has the pages as they were.
    // While somebody reads, that cannot be cut; the busy timeout is waited for each time.
    public override bool ClearRemains(bool all, TimeSpan patience)
    {
        using var connection = Open();
        if (all)
            Execute(connection, "VACUUM");
        return Becomes(patience, () =>
        {
            using var command = connection.CreateCommand();
            command.CommandText = "PRAGMA wal_checkpoint(TRUNCATE)";
            using var reader = command.ExecuteReader();
            return reader.Read() && reader.GetInt64(0) == 0;
        });
    }

    public override StoreFacts BeginWrite(Session session)
    {
        session.Run("BEGIN IMMEDIATE");
        return StoreFacts.Read(session);
    }

    // The "+" keeps the planner from driving by a criterion that is only to be looked up: it hides the index by value.
    public override string Tested(string column) => "+" + column;

    // With the "+" it is no join, which the planner would put after all other questions.
    public override string ExistsForEach(string rows) => $"+EXISTS ({rows})";

    // Of two indexes that hold all that is asked, its planner may take the one that is not in order, and then sort everything.
    public override string InOrder(string table, string alias, string index) => $"{table} {alias} INDEXED BY {index}";

    public override bool EndsTransaction(DbException e) => e is SqliteException
    {
        SqliteErrorCode: SQLitePCL.raw.SQLITE_FULL or SQLitePCL.raw.SQLITE_IOERR or SQLitePCL.raw.SQLITE_NOMEM or SQLitePCL.raw.SQLITE_BUSY
            or SQLitePCL.raw.SQLITE_READONLY or SQLitePCL.raw.SQLITE_CANTOPEN or SQLitePCL.raw.SQLITE_CORRUPT or SQLitePCL.raw.SQLITE_NOTADB,
    };

    public override void Dispose() => _lock?.Dispose();

    private SqliteConnection Open()
    {
        var connection = new SqliteConnection(_connection);
        try
        {
            connection.Open();
            var found = new Dictionary<string, string>(StringComparer.Ordinal) { ["sqlite_version"] = connection.ServerVersion };
            if (Version.Parse(connection.ServerVersion) < _oldestSafe)
                throw new StoreUnusableException($"SQLite {connection.ServerVersion} can corrupt its file under load; {_oldestSafe} or later is needed.");
            foreach (var (name, value, expected) in _settings)
            {
                Execute(connection, $"PRAGMA {name}={value}");
                using var command = connection.CreateCommand();
                command.CommandText = $"PRAGMA {name}";
                var read = command.ExecuteScalar()?.ToString() ?? "";
                if (read != expected)
                    throw new StoreUnusableException($"SQLite did not take {name}={value} (it says '{read}'). The data folder must be on a local disk.");
                found[name] = read;
            }

            _readBack = found;
            return connection;
        }
        catch (SqliteException e)
        {
            connection.Dispose();
            throw new StoreUnusableException($"The file {connection.DataSource} cannot be opened: {e.Message}", e);
        }
        catch
        {
            connection.Dispose();
            throw;
        }
    }

    private static void Execute(SqliteConnection connection, string sql)
    {
        using var command = connection.CreateCommand();
        command.CommandText = sql;
        command.ExecuteNonQuery();
    }
}
