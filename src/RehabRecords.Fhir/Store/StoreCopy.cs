using Npgsql;
using NpgsqlTypes;

namespace RehabRecords.Fhir.Store;

/// <summary>A store was not copied, or its copy is not what it was copied from.</summary>
public sealed class StoreCopyException(string message) : Exception(message);

/// <summary>
/// Copies a whole store into an empty one of either engine: all rows as they are, with the numbers of versions, so that links to
/// pages and places in the order of commits stay right. What arrived is read again and compared before it is committed.
/// </summary>
internal static class StoreCopy
{
    private const int ReportEvery = 10_000;

    /// <param name="from">In a transaction of one moment.</param>
    /// <param name="into">Empty, and of the newest schema.</param>
    /// <exception cref="StoreCopyException">The target is not empty, or differs afterwards; it is left as it was.</exception>
    public static IReadOnlyList<TableDigest> Run(Session from, Dialect into, Action<string, long>? progress, CancellationToken ct)
    {
        var connection = into.OpenScratch();
        using var target = new Session(connection, into);
        into.BeginWrite(target);
        if (target.One("SELECT num FROM resource LIMIT 1") is not null || target.One("SELECT seq FROM version LIMIT 1") is not null)
            throw new StoreCopyException("The store to copy into has a record already. Nothing was written; name an empty one.");
        target.Run("DELETE FROM fact WHERE name LIKE 'index%' OR name IN ('horizon', 'erasure-key')");
        var digests = new List<TableDigest>();
        foreach (var table in StoreTable.All)
        {
            using var tally = new StoreTable.Tally(table);
            using (var put = connection is NpgsqlConnection server ? (IRowSink)new ServerSink(server, table) : new StatementSink(target, table))
            {
                var rows = 0L;
                foreach (var row in table.Rows(from))
                {
                    tally.Add(row);
                    put.Add(row);
                    if (++rows % ReportEvery == 0)
                    {
                        ct.ThrowIfCancellationRequested();
                        progress?.Invoke(table.Name, rows);
                    }
                }

                put.Finish();
            }

            digests.Add(tally.Digest);
        }

        Compare(digests, Digests(target, ct), "What was written");
        if (connection is NpgsqlConnection)
        {
            target.One("SELECT setval(pg_get_serial_sequence('resource', 'num'), greatest((SELECT max(num) FROM resource), 1))");
            target.One("SELECT setval('version_number', greatest((SELECT max(seq) FROM version), 1))");
        }

        target.Run("COMMIT");
        if (connection is NpgsqlConnection)
            // Without these numbers the first searches would be planned as if the tables were empty. Of this store alone: another one beside it may be the damaged one.
            target.Run($"ANALYZE {string.Join(", ", StoreTable.All.Select(t => t.Name))}");
        return digests;
    }

    /// <summary>Counts and digests of a store, in a transaction of one moment.</summary>
    public static IReadOnlyList<TableDigest> Digests(Session session, CancellationToken ct, bool beside = true)
    {
        var digests = new List<TableDigest>();
        foreach (var table in StoreTable.All)
        {
            // A backup of an older schema has no such table.
            if (!beside && session.One("SELECT 1 FROM sqlite_master WHERE type='table' AND name=@p0", table.Name) is null)
                continue;
            using var tally = new StoreTable.Tally(table);
            foreach (var row in table.Rows(session, beside))
                tally.Add(row);
            digests.Add(tally.Digest);
            ct.ThrowIfCancellationRequested();
        }

        return digests;
    }

    /// <exception cref="StoreCopyException">They differ; says where.</exception>
    public static void Compare(IReadOnlyList<TableDigest> expected, IReadOnlyList<TableDigest> found, string what)
    {
        var different = expected.Where(e => !found.Contains(e)).Select(e => found.FirstOrDefault(f => f.Table == e.Table) is { } f && f.Rows != e.Rows
            ? $"{e.Table} has {f.Rows} rows and not {e.Rows}"
            : $"{e.Table} has the same number of rows and other content").ToList();
        if (different.Count > 0)
            throw new StoreCopyException($"{what} is not what it was made from: {string.Join("; ", different)}.");
    }

    private interface IRowSink : IDisposable
    {
        void Add(object?[] row);

        void Finish();
    }

    /// <summary>The server's own way of taking in many rows.</summary>
    private sealed class ServerSink(NpgsqlConnection server, StoreTable table) : IRowSink
    {
        private readonly NpgsqlDbType[] _types = [.. table.Copied.Select(c => table.KindOf(c) switch
        {
            StoreTable.Kind.Whole => NpgsqlDbType.Bigint,
            StoreTable.Kind.Short => NpgsqlDbType.Integer,
            StoreTable.Kind.Real => NpgsqlDbType.Double,
            StoreTable.Kind.Bytes => NpgsqlDbType.Bytea,
            _ => NpgsqlDbType.Text,
        })];

        private readonly NpgsqlBinaryImporter _importer = server.BeginBinaryImport($"COPY {table.Name} ({string.Join(", ", table.Copied)}) FROM STDIN (FORMAT BINARY)");

        public void Add(object?[] row)
        {
            _importer.StartRow();
            for (var i = 0; i < row.Length; i++)
                if (row[i] is { } value)
                    _importer.Write(value, _types[i]);
                else
                    _importer.WriteNull();
        }

        public void Finish() => _importer.Complete();

        public void Dispose() => _importer.Dispose();
    }

    private sealed class StatementSink(Session target, StoreTable table) : IRowSink
    {
        private readonly string _sql = $"INSERT INTO {table.Name} ({string.Join(", ", table.Copied)}) VALUES ({string.Join(", ", table.Copied.Select((_, i) => $"@p{i}"))})";

        public void Add(object?[] row)
        {
            for (var i = 0; i < row.Length; i++)
                row[i] ??= DBNull.Value;
            target.Run(_sql, row!);
        }

        public void Finish()
        {
        }

        public void Dispose()
        {
        }
    }
}
