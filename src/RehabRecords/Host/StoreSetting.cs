using System.Net;
using System.Text.RegularExpressions;
using Npgsql;
using RehabRecords.Fhir.Search;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Host;

/// <summary>Where the record is kept.</summary>
public sealed partial class StoreSetting
{
    public const string Sqlite = "sqlite";
    public const string Postgresql = "postgresql";

    /// <summary>sqlite: a file in the data folder, for one process. postgresql: a server, for many.</summary>
    public string Engine { get; set; } = Sqlite;

    /// <summary>How to reach the server, with the password; from the environment or a file, never on the command line.</summary>
    public string? Connection { get; set; }

    /// <summary>File whose first line is the connection.</summary>
    public string? ConnectionFile { get; set; }

    /// <summary>Schema of the database in which the record is kept.</summary>
    public string Schema { get; set; } = "rehabrecords";

    /// <summary>Into how many the tables are divided by person, when the schema is made.</summary>
    public int Partitions { get; set; } = RecordStore.UsualPartitions;

    /// <summary>Lets a connection to another machine go unencrypted, where the network itself encrypts.</summary>
    public bool Unencrypted { get; set; }

    public bool IsPostgresql => Engine == Postgresql;

    public void Check()
    {
        if (Engine is not (Sqlite or Postgresql))
            throw new InvalidOperationException($"Setting {Settings.Section}:Store:Engine is '{Engine}'; give {Sqlite} or {Postgresql}.");
        if (Partitions is < 1 or > 256)
            throw new InvalidOperationException($"Setting {Settings.Section}:Store:Partitions is {Partitions}; give 1 to 256.");
        if (!SchemaName().IsMatch(Schema))
            throw new InvalidOperationException($"Setting {Settings.Section}:Store:Schema is '{Schema}'; give at most 40 lower-case letters, digits and '_', a letter first.");
        if (IsPostgresql)
            RefuseOpenLine(ConnectionText());
    }

    /// <summary>A record does not travel where others can read it. What is no connection at all is told when it is opened.</summary>
    private void RefuseOpenLine(string text)
    {
        NpgsqlConnectionStringBuilder connection;
        try
        {
            connection = new NpgsqlConnectionStringBuilder(text);
        }
        catch (Exception e) when (e is ArgumentException or FormatException or InvalidCastException or KeyNotFoundException)
        {
            return;
        }

        if (!Unencrypted && connection.SslMode < SslMode.Require && (connection.Host ?? "").Split(',').FirstOrDefault(host => !IsThisMachine(host.Trim())) is { } host)
            throw new InvalidOperationException(
                $"Setting {Settings.Section}:Store: the connection to {host} may go unencrypted (SSL Mode is {connection.SslMode}). Add SSL Mode=VerifyFull and Root Certificate=<file of the authority> to it; SSL Mode=Require encrypts too, but does not prove who answers. "
                + $"Only where the network between the two encrypts by itself, set {Settings.Section}:Store:Unencrypted to true.");
    }

    private static bool IsThisMachine(string host)
    {
        // The folder of a socket, or a name or address, with or without a port.
        if (host.StartsWith('/') || host.StartsWith('@'))
            return true;
        var name = host.Count(c => c == ':') == 1 ? host.Split(':')[0] : host;
        return name.Equals("localhost", StringComparison.OrdinalIgnoreCase) || (IPAddress.TryParse(name, out var address) && IPAddress.IsLoopback(address));
    }

    /// <summary>Opens the record of a schema, or in a folder, as the engine has it.</summary>
    public Task<RecordStore> OpenAsync(string folder, string schema, SearchIndexer indexer, TimeProvider clock, CancellationToken ct = default)
    {
        // With a server too: keys and exports are kept in it.
        Directory.CreateDirectory(folder);
        return IsPostgresql ? RecordStore.OpenPostgresAsync(ConnectionText(), schema, indexer, clock, Partitions, ct) : RecordStore.OpenSqliteAsync(folder, indexer, clock, ct);
    }

    /// <summary>The store that is set, for the commands that copy one.</summary>
    public StorePlace Place(string folder) => IsPostgresql ? new PostgresPlace(ConnectionText(), Schema, Partitions) : new SqlitePlace(folder);

    /// <summary>A secret: it is said in no message.</summary>
    public string ConnectionText()
    {
        if (!string.IsNullOrWhiteSpace(Connection))
            return Connection;
        if (string.IsNullOrWhiteSpace(ConnectionFile))
            throw new InvalidOperationException(
                $"Setting {Settings.Section}:Store:Engine is {Postgresql}, so {Settings.Section}:Store:ConnectionFile must name a file whose first line is Host=…;Database=…;Username=…;Password=… (or give that in the environment as {Settings.Section}__Store__Connection).");
        try
        {
            return File.ReadLines(ConnectionFile).FirstOrDefault(line => !string.IsNullOrWhiteSpace(line))
                ?? throw new InvalidOperationException($"Setting {Settings.Section}:Store:ConnectionFile: the file {ConnectionFile} is empty.");
        }
        catch (Exception e) when (e is IOException or UnauthorizedAccessException)
        {
            throw new InvalidOperationException($"Setting {Settings.Section}:Store:ConnectionFile: {e.Message}");
        }
    }

    [GeneratedRegex("^[a-z][a-z0-9_]{0,39}$")]
    private static partial Regex SchemaName();
}
