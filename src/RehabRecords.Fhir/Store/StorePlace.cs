namespace RehabRecords.Fhir.Store;

/// <summary>Where a store is, for the commands that copy one as a whole.</summary>
public abstract record StorePlace
{
    /// <summary>How it is named to a person.</summary>
    public abstract string Name { get; }

    /// <summary>Takes the place for oneself where only one process may use it.</summary>
    internal abstract Dialect Open();

    /// <summary>To look at what is there, beside a process that uses it, and change nothing.</summary>
    internal abstract Dialect Look();
}

/// <summary>A file in a folder.</summary>
public sealed record SqlitePlace(string Folder) : StorePlace
{
    public override string Name => $"the data folder {Folder}";

    public bool Exists => File.Exists(Database);

    internal string Database => Path.Combine(Folder, "records.db");

    internal override Dialect Open() => SqliteDialect.Open(Folder);

    internal override Dialect Look() => Exists ? SqliteDialect.Look(Folder) : throw new StoreUnusableException($"There is no store in {Name}.");
}

/// <summary>A schema of a database.</summary>
public sealed record PostgresPlace(string Connection, string Schema, int Partitions = RecordStore.UsualPartitions) : StorePlace
{
    public override string Name => $"the schema {Schema}";

    internal override Dialect Open() => PostgresDialect.Open(Connection, Schema, Partitions);

    internal override Dialect Look() => Open();

    /// <summary>Without the secret.</summary>
    public override string ToString() => Name;
}
