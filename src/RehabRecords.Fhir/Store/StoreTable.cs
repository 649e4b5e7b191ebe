using System.Buffers.Binary;
using System.Data.Common;
using System.Security.Cryptography;
using System.Text;

namespace RehabRecords.Fhir.Store;

/// <summary>How many rows a table has, and what they are: the digest of all of them in the order of their key.</summary>
public sealed record TableDigest(string Table, long Rows, string Sha256);

/// <summary>A table as both engines have it. What is said here is what a copy of a store holds.</summary>
/// <param name="Key">Columns by which rows are in one order on both.</param>
internal sealed record StoreTable(string Name, string Key, params string[] Columns)
{
    /// <summary>Columns that are whole numbers of 32 bits on the server.</summary>
    private static readonly string[] _short = ["parameter", "place"];

    private static readonly string[] _whole = ["num", "version", "deleted", "updated", "seq", "person", "scope", "status", "made", "n", "res", "start", "finish", .. _short];
    private static readonly string[] _real = ["low", "high", "base_low", "base_high"];
    private static readonly string[] _bytes = ["json", "body", "digest"];

    public static IReadOnlyList<StoreTable> All { get; } =
    [
        new("resource", "num", "num", "type", "id", "version", "deleted", "updated", "seq", "person"),
        new("version", "seq", "seq", "type", "id", "version", "deleted", "updated", "person", "json") { Beside = ["digest"] },
        new("claim", "type, system, value, scope", "type", "system", "value", "scope", "id", "person"),
        new("answer", "client, key", "client", "key", "hash", "status", "location", "body", "made"),
        new("token_row", "res, parameter, system, code", "res", "parameter", "system", "code", "person"),
        new("date_row", "res, parameter, start, finish", "res", "parameter", "start", "finish", "person"),
        new("reference_row", "res, parameter, target, version", "res", "parameter", "target", "version", "person"),
        new("string_row", "res, parameter, place", "res", "parameter", "place", "folded", "exact", "person"),
        new("quantity_row", "res, parameter, place", "res", "parameter", "place", "system", "code", "unit", "low", "high", "base", "base_low", "base_high", "person"),
        new("uri_row", "res, parameter, value", "res", "parameter", "value", "person"),
        new("pair_row", "res, parameter, place", "res", "parameter", "place", "first_system", "first_code", "system", "code", "unit", "low", "high", "base", "base_low", "base_high",
            "start", "finish", "folded", "exact", "target", "version", "person"),
        new("audit_link", "n", "n", "seq", "id", "version", "hash"),
        new("audit_gap", "n, tombstone", "n", "tombstone", "remaining"),
        new("tombstone", "id", "id", "made", "body"),
        new("erased", "mark", "mark", "tombstone"),
        // How a store is divided is its own affair.
        new("fact", "name", "name", "value") { Where = $"name IN ('{StoreFacts.IndexName}', '{StoreFacts.HorizonName}', '{Tombstones.KeyName}')" },
    ];

    /// <summary>Which rows are copied.</summary>
    public string Where { get; private init; } = "1=1";

    /// <summary>Columns that are copied and not told in the list of a backup: an older one has none of them, and is to stay comparable.</summary>
    public IReadOnlyList<string> Beside { get; private init; } = [];

    public IReadOnlyList<string> Copied => [.. Columns, .. Beside];

    public enum Kind
    {
        Text,
        Whole,
        Short,
        Real,
        Bytes,
    }

    // The version that a reference names is a text.
    public Kind KindOf(string column) => column == "version" && (Name is "reference_row" or "pair_row") ? Kind.Text
        : _short.Contains(column) ? Kind.Short
        : _whole.Contains(column) ? Kind.Whole
        : _real.Contains(column) ? Kind.Real
        : _bytes.Contains(column) ? Kind.Bytes
        : Kind.Text;

    /// <param name="beside">False where the store may be of an older schema.</param>
    /// <exception cref="StoreCopyException">A version is not what was stored.</exception>
    public IEnumerable<object?[]> Rows(Session session, bool beside = true)
    {
        var columns = beside ? Copied : Columns;
        var kinds = columns.Select(KindOf).ToArray();
        return session.Each($"SELECT {string.Join(", ", columns)} FROM {Name} WHERE {Where} ORDER BY {Key}", r => beside && Beside.Count > 0 ? Whole(Row(r, kinds)) : Row(r, kinds));
    }

    /// <summary>A row of versions, where it is still as it was stored.</summary>
    private static object?[] Whole(object?[] row)
    {
        if (row is [_, string type, string id, long version, long deleted, long updated, _, byte[] json, byte[] digest]
            && !digest.AsSpan().SequenceEqual(VersionDigest.Of(type, id, version, deleted == 1, updated, json)))
            throw new StoreCopyException($"{type}/{id}/_history/{version} is not as it was stored: its bytes do not fit their digest. A copy would carry the damage on, so none is made; check-store names everything that is damaged.");
        return row;
    }

    private static object?[] Row(DbDataReader row, Kind[] kinds)
    {
        var values = new object?[kinds.Length];
        for (var i = 0; i < values.Length; i++)
            values[i] = row.IsDBNull(i) ? null : kinds[i] switch
            {
                Kind.Whole => row.GetInt64(i),
                Kind.Short => row.GetInt32(i),
                Kind.Real => row.GetDouble(i),
                Kind.Bytes => row.GetFieldValue<byte[]>(i),
                _ => row.GetString(i),
            };
        return values;
    }

    /// <summary>Rows as they pass, counted and digested.</summary>
    public sealed class Tally(StoreTable table) : IDisposable
    {
        private readonly IncrementalHash _hash = IncrementalHash.CreateHash(HashAlgorithmName.SHA256);
        private readonly byte[] _number = new byte[9];
        private long _rows;

        public TableDigest Digest => new(table.Name, _rows, Convert.ToHexStringLower(_hash.GetCurrentHash()));

        public void Add(object?[] row)
        {
            _rows++;
            foreach (var value in row.AsSpan(0, table.Columns.Length))
                Add(value);
        }

        public void Dispose() => _hash.Dispose();

        /// <summary>Kind and length before each value, so that no two rows have the same bytes.</summary>
        private void Add(object? value)
        {
            switch (value)
            {
                case null:
                    Add('0', 0);
                    break;
                case long whole:
                    Add('i', whole);
                    break;
                case int whole:
                    Add('i', whole);
                    break;
                case double real:
                    Add('r', BitConverter.DoubleToInt64Bits(real == 0 ? 0 : real));
                    break;
                case byte[] bytes:
                    Add('b', bytes.Length);
                    _hash.AppendData(bytes);
                    break;
                default:
                    var text = Encoding.UTF8.GetBytes((string)value);
                    Add('t', text.Length);
                    _hash.AppendData(text);
                    break;
            }
        }

        private void Add(char kind, long number)
        {
            _number[0] = (byte)kind;
            BinaryPrimitives.WriteInt64BigEndian(_number.AsSpan(1), number);
            _hash.AppendData(_number);
        }
    }
}
