using System.Data.Common;
using System.Net.Sockets;
using System.Text.RegularExpressions;
using DbUp;
using DbUp.Postgresql;
using Hl7.Fhir.Model;
using Npgsql;
using RehabRecords.Fhir.Search;

namespace RehabRecords.Fhir.Store;

/// <summary>
/// A schema of a PostgreSQL database, which many processes may use at once. Its writers take turns by a lock of the transaction, so
/// that the numbers of versions become visible in their order; invariants rest on unique rows and stated versions all the same.
/// </summary>
internal sealed partial class PostgresDialect : Dialect
{
    private const int ReadSeconds = 8;
    private const string Folder = ".Store.Schema.Postgres.";

    /// <summary>What a connection is for, and how long it may stand still in a transaction, so that a stopped process does not stop the others.</summary>
    private enum Use
    {
        Write,
        Read,
        Scratch,
        Upgrade,
    }

    private readonly NpgsqlDataSource _source;
    private readonly NpgsqlDataSource _patient;
    private readonly string _schema;
    private readonly string _where;
    private readonly int _partitions;
    private readonly long _turn;
    private Dictionary<string, string> _readBack = [];

    private PostgresDialect(NpgsqlConnectionStringBuilder connection, string schema, int partitions, string where)
    {
        _source = Source(connection.ConnectionString);
        // For work that is long by its nature.
        connection.CommandTimeout = (int)TimeSpan.FromHours(12).TotalSeconds;
        _patient = Source(connection.ConnectionString);
        _schema = schema;
        _where = where;
        _partitions = partitions;
        _turn = StableHash.Of64($"turn of writers in {schema}");
    }

    // The server keeps the numbers of 64 parts of a transaction at hand; with more, everybody's reads become slower.
    public override int LargestGroup => 60;

    public override IReadOnlyDictionary<string, string> Settings => _readBack;

    public override string Size =>
        "SELECT coalesce(sum(pg_table_size(p.relid)), 0)::bigint FROM pg_partition_tree(to_regclass('version')) p WHERE p.isleaf";

    public override string BeginRead => "BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY";

    public override string BeginScratch => "BEGIN ISOLATION LEVEL REPEATABLE READ";

    public override bool NeedsCursors => true;

    public override string TextType => "TEXT COLLATE \"C\"";

    /// <param name="connection">As Npgsql reads it.</param>
    /// <param name="schema">Made when it is not there.</param>
    /// <param name="partitions">Into how many the rows are spread by person, when the schema is made.</param>
    public static PostgresDialect Open(string connection, string schema, int partitions)
    {
        ArgumentOutOfRangeException.ThrowIfLessThan(partitions, 1);
        if (!SchemaName().IsMatch(schema))
            throw new StoreUnusableException($"'{schema}' is no name of a schema: it must begin with a letter and have lower-case letters, digits and '_' only, 40 at most.");
        NpgsqlConnectionStringBuilder asked;
        try
        {
            asked = new NpgsqlConnectionStringBuilder(connection);
        }
        catch (Exception e) when (e is ArgumentException or FormatException or InvalidCastException or KeyNotFoundException)
        {
            // What was given is a secret, and the library's own message may say it again.
            throw new StoreUnusableException("The connection of the store is not in the form Host=…;Database=…;Username=…;Password=…, or one of its keywords is not known.");
        }

        void Unless(string keyword, Action set)
        {
            if (!connection.Contains(keyword, StringComparison.OrdinalIgnoreCase))
                set();
        }

        asked.SearchPath = schema;
        asked.ApplicationName ??= "rehabrecords";
        // Connections are kept here, with what was prepared on them; a second pool beneath would only hide that one was lost.
        asked.Pooling = false;
        asked.IncludeErrorDetail = false;
        asked.Enlist = false;
        Unless("Max Auto Prepare", () => asked.MaxAutoPrepare = 200);
        Unless("Auto Prepare Min Usages", () => asked.AutoPrepareMinUsages = 2);
        // Of several hosts the one that can be written to; which one that is, is asked anew soon after the other was lost.
        if (asked.Host?.Contains(',', StringComparison.Ordinal) == true)
        {
            Unless("Target Session Attributes", () => asked.TargetSessionAttributes = "primary");
            Unless("Host Recheck Seconds", () => asked.HostRecheckSeconds = 1);
        }

        Unless("Timeout", () => asked.Timeout = 3);
        asked.CommandTimeout = ReadSeconds + 1;
        asked.CancellationTimeout = 1000;
        Unless("Tcp Keepalive", () =>
        {
            asked.TcpKeepAlive = true;
            asked.TcpKeepAliveTime = 5;
            asked.TcpKeepAliveInterval = 1;
        });
        return new PostgresDialect(asked, schema, partitions, $"schema {schema} of database {asked.Database} at {asked.Host}");
    }

    public override bool HasDigests(Session session) =>
        session.One("SELECT 1 FROM pg_attribute WHERE attrelid=to_regclass('version') AND attname='digest' AND NOT attisdropped") is not null;

    public override (string Asked, List<string> Wrong) OwnVerdict(Session session)
    {
        var wrong = new List<string>();
        var asked = new List<string> { (string)session.One("SHOW data_checksums")! == "on" ? "checksums of pages as they were read" : "no checksums of pages (the cluster was made without)" };
        // Made by a superuser, and not everywhere.
        if (session.One("SELECT quote_ident(n.nspname) FROM pg_proc p JOIN pg_namespace n ON n.oid=p.pronamespace WHERE p.proname='bt_index_check' AND has_function_privilege(p.oid, 'EXECUTE') LIMIT 1") is not string home)
            asked.Add("not its indexes (the extension amcheck is missing, or not for this role)");
        else
        {
            asked.Add("its indexes against their tables by amcheck");
            foreach (var (name, number) in session.Rows(
                $"SELECT c.relname, c.oid::bigint FROM pg_class c JOIN pg_index i ON i.indexrelid=c.oid JOIN pg_am a ON a.oid=c.relam WHERE a.amname='btree' AND c.relkind='i' AND c.relnamespace='{_schema}'::regnamespace ORDER BY 1",
                r => (r.GetString(0), r.GetInt64(1))))
                try
                {
                    session.One($"SELECT {home}.bt_index_check({number}::oid::regclass, true)");
                }
                catch (PostgresException e)
                {
                    wrong.Add($"PostgreSQL says of the index {name}: {e.MessageText}.");
                }
        }

        return (string.Join(", ", asked), wrong);
    }

    public override void Upgrade()
    {
        using var connection = Open(Use.Upgrade);
        Check(connection);
        // One process at a time makes a schema or changes it; the others wait, however long it takes, and then find it done.
        Execute(connection, $"SET lock_timeout=0; SELECT pg_advisory_lock({StableHash.Of64($"upgrade of {_schema}")})");
        // A role that may no longer make schemas may still use its own.
        if (!Exists(connection, $"SELECT 1 FROM pg_namespace WHERE nspname='{_schema}'"))
            Execute(connection, $"CREATE SCHEMA {_schema}");
        var engine = DeployChanges.To.PostgresqlDatabase(new PostgresqlConnectionManager(_patient))
            .WithScriptsEmbeddedInAssembly(typeof(PostgresDialect).Assembly, name => name.Contains(Folder, StringComparison.Ordinal))
            .JournalToPostgresqlTable(_schema, "schemaversions")
            .WithTransactionPerScript()
            .WithVariable("partitions", _partitions.ToString(System.Globalization.CultureInfo.InvariantCulture))
            .WithExecutionTimeout(TimeSpan.FromHours(12))
            .LogToNowhere()
            .Build();
        SchemaSteps.Upgrade(engine, Folder, $"The {_where}");
    }

    public override DbConnection OpenWriter() => Open(Use.Write);

    public override DbConnection OpenReader() => Open(Use.Read);

    public override DbConnection OpenScratch() => Open(Use.Scratch);

    // A deleted row stays in its page until that is written anew, which locks the table; so it is not done in passing.
    public override bool ClearRemains(bool all, TimeSpan patience)
    {
        if (!all)
            return false;
        using var connection = Open(Use.Scratch);
        // Written anew, a table still holds each deleted row that somebody's transaction may see, in whichever schema that works.
        var now = (string)One(connection, "SELECT pg_current_xact_id()::text")!;
        if (!Becomes(patience, () => One(connection, NobodySeesBefore(now)) is true))
            return false;
        Execute(connection, "SET lock_timeout=60000");
        var tables = new List<string>();
        using (var command = new NpgsqlCommand($"SELECT format('%I.%I', n.nspname, c.relname) FROM pg_class c JOIN pg_namespace n ON n.oid=c.relnamespace WHERE n.nspname='{_schema}' AND c.relkind='r' ORDER BY c.relname", connection))
        using (var reader = command.ExecuteReader())
            while (reader.Read())
                tables.Add(reader.GetString(0));
        foreach (var table in tables)
            Execute(connection, $"VACUUM (FULL, ANALYZE) {table}");
        return true;
    }

    public override StoreFacts BeginWrite(Session session)
    {
        session.Later("BEGIN ISOLATION LEVEL READ COMMITTED");
        // The next statement sees all that was committed before this one got its turn.
        session.Later($"DO $$ BEGIN PERFORM pg_advisory_xact_lock({_turn}); END $$");
        return StoreFacts.Read(session);
    }

    public override string Together(string alias, string other) => $" AND {alias}.person={other}.person";

    // Its planner would join all that have a code, of everybody, with the few rows of one person; what has an offset it leaves by itself.
    public override string ExistsForEach(string rows) => $"EXISTS ({rows} OFFSET 0)";

    // The beginning of the text, which the server keeps beside it.
    public override string FoundBy(string row) => $"{row}.head";

    public override (string Type, string Id) Parts(string address) => ($"split_part({address}, '/', 1)", $"split_part({address}, '/', 2)");

    // Of temporary tables the server counts nothing by itself, and takes them for small.
    public override void Counted(Session session, string table) => session.Run($"ANALYZE {table}");

    public override void CloseCursor(Session session, string cursor)
    {
        try
        {
            session.Run($"CLOSE {cursor}");
        }
        catch (PostgresException e) when (e.SqlState is PostgresErrorCodes.InFailedSqlTransaction or PostgresErrorCodes.InvalidCursorName)
        {
            // It went with its transaction.
        }
    }

    public override string Text(string sql) => Placeholder().Replace(sql, m => "$" + (int.Parse(m.Groups[1].ValueSpan, System.Globalization.CultureInfo.InvariantCulture) + 1));

    public override string ParameterName(int place) => "";

    public override bool EndsTransaction(DbException e) => e is not PostgresException server
        || server.SqlState[..2] is "08" or "25" or "40" or "53" or "57" or "58" or "XX" || server.SqlState == PostgresErrorCodes.LockNotAvailable;

    public override bool IsPassing(DbException e) => e switch
    {
        PostgresException server => server.SqlState is PostgresErrorCodes.SerializationFailure or PostgresErrorCodes.DeadlockDetected
            or PostgresErrorCodes.AdminShutdown or PostgresErrorCodes.CrashShutdown or PostgresErrorCodes.CannotConnectNow || server.SqlState.StartsWith("08", StringComparison.Ordinal),
        // One that was not answered in time has had its time.
        _ => e.InnerException is not TimeoutException,
    };

    public override RefusedException? Refusal(DbException e) => e is PostgresException { SqlState: PostgresErrorCodes.ProgramLimitExceeded }
        ? new RefusedException(Fhir.Refusal.TooLarge, OperationOutcome.IssueType.TooLong, "A value by which the resource would be found is too long to be indexed; shorten its codes, identifiers and addresses.")
        : null;

    public override void Dispose()
    {
        _source.Dispose();
        _patient.Dispose();
    }

    private NpgsqlConnection Open(Use use)
    {
        var connection = (use is Use.Scratch or Use.Upgrade ? _patient : _source).CreateConnection();
        try
        {
            connection.Open();
            Execute(connection, use switch
            {
                // A process that stands still in its turn loses it before the others lose their patience.
                Use.Write => Session(ReadSeconds * 1000, 6000, 4000, "off"),
                // Where a search begins is in its words, not in its values; to plan it anew for each took four times as long as to answer it.
                Use.Read => Session(ReadSeconds * 1000, 5000, 10_000, "on") + "; SET plan_cache_mode=force_generic_plan",
                Use.Scratch => Session(0, 5000, 3_600_000, "off"),
                // Readers stand behind one who waits for a table; so the wait is short, and the start fails instead.
                _ => Session(0, 10_000, 0, "off"),
            });
            return connection;
        }
        catch (PostgresException e) when (e.SqlState is PostgresErrorCodes.InvalidPassword or PostgresErrorCodes.InvalidAuthorizationSpecification or PostgresErrorCodes.InvalidCatalogName or PostgresErrorCodes.InsufficientPrivilege)
        {
            connection.Dispose();
            throw new StoreUnusableException($"The {_where} cannot be opened: {e.MessageText}", e);
        }
        catch (Exception e) when (e is IOException or SocketException)
        {
            connection.Dispose();
            // Of a server that hangs up in the moment between the call and the first word the driver tells as the system does.
            throw new NpgsqlException($"The {_where} hung up.", e);
        }
        catch
        {
            connection.Dispose();
            throw;
        }
    }

    private static NpgsqlDataSource Source(string connection)
    {
        var builder = new NpgsqlDataSourceBuilder(connection);
        // Only the engine's own types are used, so the list of all types, long where there are many schemas, need not be read.
        builder.ConfigureTypeLoading(types => types.EnableTypeLoading(false));
        return builder.Build();
    }

    private static string Session(int statement, int lockWait, int idle, string readOnly) =>
        $"SET statement_timeout={statement}; SET lock_timeout={lockWait}; SET idle_in_transaction_session_timeout={idle}; "
        + $"SET default_transaction_read_only={readOnly}; SET TIME ZONE 'UTC'; SET client_min_messages=warning; "
        // A server or role may have it off; then a commit that was answered could be lost with the power.
        + "SELECT set_config('synchronous_commit', 'on', false) WHERE current_setting('synchronous_commit') NOT IN ('on', 'remote_apply', 'remote_write')";

    /// <summary>What the engine must promise, read back from it.</summary>
    private void Check(NpgsqlConnection connection)
    {
        var found = new Dictionary<string, string>(StringComparer.Ordinal);
        using (var command = new NpgsqlCommand(
            "SELECT name, setting FROM pg_settings WHERE name IN ('server_version', 'server_version_num', 'fsync', 'full_page_writes', 'synchronous_commit', 'server_encoding', 'TimeZone', "
            + "'data_checksums', 'wal_level', 'password_encryption', 'statement_timeout', 'lock_timeout', 'max_connections') UNION ALL SELECT 'standby', pg_is_in_recovery()::text", connection))
        using (var reader = command.ExecuteReader())
            while (reader.Read())
                found[reader.GetString(0)] = reader.GetString(1);
        foreach (var (name, good, remedy) in _needed)
            if (!good(found.GetValueOrDefault(name, "")))
                throw new StoreUnusableException($"The {_where} has {name}={found.GetValueOrDefault(name)}: {remedy}");
        _readBack = found;
    }

    // With fsync or full_page_writes off a power cut can take what was acknowledged, or the whole database.
    private static readonly (string Name, Func<string, bool> Good, string Remedy)[] _needed =
    [
        ("server_version_num", v => int.TryParse(v, out var number) && number >= 150000, "PostgreSQL 15 or later is needed."),
        ("standby", v => v == "false", "it is a standby, which cannot be written to; name the primary."),
        ("fsync", v => v == "on", "it must be on, or a power cut takes what was acknowledged. Set it in postgresql.conf."),
        ("full_page_writes", v => v == "on", "it must be on, or a power cut can corrupt the database. Set it in postgresql.conf."),
        ("synchronous_commit", v => v is "on" or "remote_apply" or "remote_write", "it must be on, or a crash takes what was acknowledged."),
        ("server_encoding", v => v == "UTF8", "the database must be made with ENCODING 'UTF8'."),
        ("TimeZone", v => v == "UTC", "sessions must run in UTC."),
    ];

    private static void Execute(NpgsqlConnection connection, string sql)
    {
        using var command = new NpgsqlCommand(sql, connection);
        command.ExecuteNonQuery();
    }

    private static bool Exists(NpgsqlConnection connection, string sql) => One(connection, sql) is not null;

    private static object? One(NpgsqlConnection connection, string sql)
    {
        using var command = new NpgsqlCommand(sql, connection);
        return command.ExecuteScalar();
    }

    /// <summary>Whether no transaction, reader, standby or slot of replication sees rows that were deleted before a transaction.</summary>
    private static string NobodySeesBefore(string transaction) => $"""
        SELECT pg_snapshot_xmin(pg_current_snapshot()) >= '{transaction}'::xid8
          AND NOT EXISTS (SELECT 1 FROM pg_stat_activity WHERE pid <> pg_backend_pid() AND (datname IS NULL OR datname = current_database()) AND age(backend_xmin) > age('{transaction}'::xid8::xid))
          AND NOT EXISTS (SELECT 1 FROM pg_replication_slots WHERE age(xmin) > age('{transaction}'::xid8::xid))
        """;

    [GeneratedRegex("@p([0-9]+)")]
    private static partial Regex Placeholder();

    [GeneratedRegex("^[a-z][a-z0-9_]{0,39}$")]
    private static partial Regex SchemaName();
}
