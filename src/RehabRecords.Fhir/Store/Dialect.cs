using System.Data.Common;

namespace RehabRecords.Fhir.Store;

/// <summary>What truly differs between database engines. All else is the same SQL for each.</summary>
internal abstract class Dialect : IDisposable
{
    /// <summary>How many writers may work side by side: one where the engine has a single write lock.</summary>
    public abstract int Writers { get; }

    /// <summary>Begins a transaction that will write.</summary>
    public abstract string BeginWrite { get; }

    /// <summary>What the engine was asked to promise, as read back from it.</summary>
    public abstract IReadOnlyDictionary<string, string> Settings { get; }

    /// <summary>Brings the schema up to date, or refuses one that is newer than this program.</summary>
    public abstract void Upgrade();

    public abstract DbConnection OpenWriter();

    public abstract DbConnection OpenReader();

    /// <summary>A reader that may make temporary tables, for one who keeps the connection to itself.</summary>
    public abstract DbConnection OpenScratch();

    /// <summary>A table of a FROM clause, to be read in the order of an index; for engines whose planner sees that by itself, the table alone.</summary>
    public virtual string InOrder(string table, string alias, string index) => $"{table} {alias}";

    /// <summary>True when the engine could not write (disk full, I/O error, connection lost), so that nothing after it in the transaction counts.</summary>
    public abstract bool EndsTransaction(DbException e);

    public abstract void Dispose();
}

/// <summary>The store cannot be opened, and a person has to do something about it first.</summary>
public sealed class StoreUnusableException(string message, Exception? inner = null) : Exception(message, inner);
