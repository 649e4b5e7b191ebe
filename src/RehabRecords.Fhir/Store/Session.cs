using System.Data.Common;

namespace RehabRecords.Fhir.Store;

/// <summary>A connection and its prepared statements. One thread at a time.</summary>
internal sealed class Session(DbConnection connection, Dialect? dialect = null) : IDisposable
{
    public Dialect? Dialect => dialect;

    /// <summary>Statements kept prepared; a search makes a new text for each new shape of query.</summary>
    private const int Kept = 256;

    private readonly Dictionary<string, DbCommand> _commands = new(StringComparer.Ordinal);

    public int Run(string sql, params ReadOnlySpan<object> values) => Prepare(sql, values).ExecuteNonQuery();

    public object? One(string sql, params ReadOnlySpan<object> values) => Prepare(sql, values).ExecuteScalar();

    public List<T> Rows<T>(string sql, Func<DbDataReader, T> read, params ReadOnlySpan<object> values)
    {
        var found = new List<T>();
        using var reader = Prepare(sql, values).ExecuteReader();
        while (reader.Read())
            found.Add(read(reader));
        return found;
    }

    /// <summary>The same, row by row as they are asked for. Until the last was read the statement may not be used again.</summary>
    public IEnumerable<T> Each<T>(string sql, Func<DbDataReader, T> read, params object[] values)
    {
        using var reader = Prepare(sql, values).ExecuteReader();
        while (reader.Read())
            yield return read(reader);
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
            command.CommandText = sql;
            for (var i = 0; i < values.Length; i++)
            {
                var parameter = command.CreateParameter();
                parameter.ParameterName = $"@p{i}";
                command.Parameters.Add(parameter);
            }

            _commands.Add(sql, command);
        }

        for (var i = 0; i < values.Length; i++)
            command.Parameters[i].Value = values[i];
        return command;
    }

    private void Forget()
    {
        foreach (var command in _commands.Values)
            command.Dispose();
        _commands.Clear();
    }
}
