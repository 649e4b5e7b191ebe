namespace RehabRecords.Fhir.Store;

/// <summary>Inserts many rows of one table by one statement: the call costs as much as the row.</summary>
internal sealed class RowInsert
{
    private const int Most = 16;

    private readonly int _width;

    public string Name { get; }

    public IReadOnlyList<string> Columns { get; }

    private readonly string[] _sql;

    private RowInsert(string table, params string[] columns)
    {
        (Name, Columns, _width) = (table, columns, columns.Length);
        _sql = [.. Enumerable.Range(0, Most + 1).Select(rows => $"INSERT INTO {table} (res, person, {string.Join(", ", columns)}) VALUES " + string.Join(
            ", ", Enumerable.Range(0, rows).Select(row => $"(@p0, @p1, {string.Join(", ", columns.Select((_, column) => $"@p{2 + (row * columns.Length) + column}"))})")))];
    }

    public static RowInsert Tokens { get; } = new("token_row", "parameter", "system", "code");

    public static RowInsert Dates { get; } = new("date_row", "parameter", "start", "finish");

    public static RowInsert References { get; } = new("reference_row", "parameter", "target", "version");

    public static RowInsert Uris { get; } = new("uri_row", "parameter", "value");

    public static RowInsert Strings { get; } = new("string_row", "parameter", "place", "folded", "exact");

    public static RowInsert Quantities { get; } = new("quantity_row", "parameter", "place", "system", "code", "unit", "low", "high", "base", "base_low", "base_high");

    public static RowInsert Pairs { get; } = new(
        "pair_row", "parameter", "place", "first_system", "first_code", "system", "code", "unit", "low", "high", "base", "base_low", "base_high",
        "start", "finish", "folded", "exact", "target", "version");

    public void Run(Session session, long res, long person, IReadOnlyList<object[]> rows)
    {
        foreach (var chunk in rows.Chunk(Most))
        {
            var all = new object[2 + (chunk.Length * _width)];
            all[0] = res;
            all[1] = person;
            for (var i = 0; i < chunk.Length; i++)
                chunk[i].CopyTo(all, 2 + (i * _width));
            session.Later(_sql[chunk.Length], all);
        }
    }
}
