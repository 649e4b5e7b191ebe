using System.Data.Common;

namespace RehabRecords.Fhir.Store;

/// <summary>A connection and its prepared statements. One thread at a time.</summary>
internal sealed class Session(DbConnection connection, Dialect? dialect = null) : IDisposable
{
    /// <summary>Statements kept prepared; a search makes a new text for each new shape of query.</summary>
    private const int Kept = 256;

    /// <summary>Rows fetched at once by one who reads row by row, where the engine sends a whole result otherwise.</summary>
    private const int Fetched = 32;

    private const string Savepoint = "SAVEPOINT one_set";

    private readonly Dictionary<string, DbCommand> _commands = new(StringComparer.Ordinal);
    private readonly List<(string Sql, object[] Values)> _later = [];
    private int _cursors;

    public Dialect? Engine => dialect;

    public int Run(string sql, params ReadOnlySpan<object> values)
    {
        if (_later.Count == 0)
            return Prepare(sql, values).ExecuteNonQuery();
        using var batch = Batch(sql, values);
        batch.ExecuteNonQuery();
        return batch.BatchCommands[^1].RecordsAffected;
    }

    public object? One(string sql, params ReadOnlySpan<object> values)
    {
        if (_later.Count == 0)
            return Prepare(sql, values).ExecuteScalar();
        using var batch = Batch(sql, values);
        return batch.ExecuteScalar();
    }

    public List<T> Rows<T>(string sql, Func<DbDataReader, T> read, params ReadOnlySpan<object> values)
    {
        var found = new List<T>();
        using var batch = _later.Count == 0 ? null : Batch(sql, values);
        using var reader = batch is null ? Prepare(sql, values).ExecuteReader() : batch.ExecuteReader();
        while (reader.Read())
            found.Add(read(reader));
        return found;
    }

    /// <summary>
    /// Runs a statement whose result nobody waits for. Where each statement is a journey to a server it travels with the next one
    /// that is waited for; so an error of it comes to light there. It may return no rows.
    /// </summary>
    public void Later(string sql, params ReadOnlySpan<object> values)
    {
        if (connection.CanCreateBatch)
            _later.Add((sql, values.ToArray()));
        else
            Run(sql, values);
    }

    /// <summary>Sends what waits.</summary>
    public void Flush()
    {
        if (_later.Count == 0)
            return;
        using var batch = Batch();
        batch.ExecuteNonQuery();
    }

    /// <summary>Reads several times, all of one moment.</summary>
    public T AtOneMoment<T>(Func<T> read)
    {
        Later(dialect?.BeginRead ?? "BEGIN");
        T result;
        try
        {
            result = read();
        }
        catch (RefusedException)
        {
            Run("COMMIT");
            throw;
        }

        Run("COMMIT");
        return result;
    }

    /// <summary>Begins what may be taken back by itself.</summary>
    public void BeginPart() => Later(Savepoint);

    public void EndPart() => Run("RELEASE SAVEPOINT one_set");

    public void TakeBackPart()
    {
        // What was never sent need not be taken back.
        if (_later.FindLastIndex(l => l.Sql == Savepoint) is var begun and >= 0)
        {
            _later.RemoveRange(begun, _later.Count - begun);
            return;
        }

        _later.Clear();
        Run("ROLLBACK TO SAVEPOINT one_set");
        Run("RELEASE SAVEPOINT one_set");
    }

    /// <summary>
    /// The rows one by one as they are asked for. Until the last was read the statement may not be used again; others may. Where a
    /// connection has but one open result, within a transaction only.
    /// </summary>
    public IEnumerable<T> Each<T>(string sql, Func<DbDataReader, T> read, params object[] values)
    {
        if (dialect is not { NeedsCursors: true })
        {
            using var reader = Prepare(sql, values).ExecuteReader();
            while (reader.Read())
                yield return read(reader);
            yield break;
        }

        var cursor = $"rows_{++_cursors}";
        Run($"DECLARE {cursor} NO SCROLL CURSOR FOR {sql}", values);
        try
        {
            while (true)
            {
                var fetched = Rows($"FETCH {Fetched} FROM {cursor}", read);
                foreach (var row in fetched)
                    yield return row;
                if (fetched.Count < Fetched)
                    break;
            }
        }
        finally
        {
            // A transaction that failed has closed it already.
            if (connection.State == System.Data.ConnectionState.Open)
                dialect.CloseCursor(this, cursor);
        }
    }

    public void Dispose()
    {
        foreach (var command in _commands.Values)
            command.Dispose();
        connection.Dispose();
    }

    /// <summary>Parameters are @p0, @p1 … in the order of the values.</summary>
    private DbCommand Prepare(string sql, ReadOnlySpan<object> values)
    {
        if (!_commands.TryGetValue(sql, out var command))
        {
            if (_commands.Count >= Kept)
                Forget();
            command = connection.CreateCommand();
            command.CommandText = dialect?.Text(sql) ?? sql;
            for (var i = 0; i < values.Length; i++)
                command.Parameters.Add(Parameter(command, i));
            _commands.Add(sql, command);
        }

        for (var i = 0; i < values.Length; i++)
            command.Parameters[i].Value = Dialect.Value(values[i]);
        return command;
    }

    private DbBatch Batch(string? sql = null, ReadOnlySpan<object> values = default)
    {
        var batch = connection.CreateBatch();
        foreach (var (waiting, itsValues) in _later)
            batch.BatchCommands.Add(Part(batch, waiting, itsValues));
        // Sent once, whatever becomes of it.
        _later.Clear();
        if (sql is not null)
            batch.BatchCommands.Add(Part(batch, sql, values));
        return batch;
    }

    private DbBatchCommand Part(DbBatch batch, string sql, ReadOnlySpan<object> values)
    {
        var part = batch.CreateBatchCommand();
        part.CommandText = dialect?.Text(sql) ?? sql;
        for (var i = 0; i < values.Length; i++)
        {
            var parameter = part.CreateParameter();
            parameter.ParameterName = dialect?.ParameterName(i) ?? $"@p{i}";
            parameter.Value = Dialect.Value(values[i]);
            part.Parameters.Add(parameter);
        }

        return part;
    }

    private DbParameter Parameter(DbCommand command, int place)
    {
        var parameter = command.CreateParameter();
        parameter.ParameterName = dialect?.ParameterName(place) ?? $"@p{place}";
        return parameter;
    }

    private void Forget()
    {
        foreach (var command in _commands.Values)
            command.Dispose();
        _commands.Clear();
    }
}
