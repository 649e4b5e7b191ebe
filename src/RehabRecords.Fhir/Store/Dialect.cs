using System.Data.Common;
using System.Diagnostics;

namespace RehabRecords.Fhir.Store;

/// <summary>What truly differs between database engines. All else is the same SQL for each.</summary>
internal abstract class Dialect : IDisposable
{
    /// <summary>Characters of a text by which it is found where an index cannot hold it all.</summary>
    public const int Beginning = 250;

    /// <summary>Connections for reading, at most.</summary>
    public static int MostReaders { get; } = Math.Max(4, 2 * Environment.ProcessorCount);

    /// <summary>Most sets that are committed together.</summary>
    public virtual int LargestGroup => 128;

    /// <summary>What the engine was asked to promise, as read back from it.</summary>
    public abstract IReadOnlyDictionary<string, string> Settings { get; }

    /// <summary>Asks about how many bytes the versions take up.</summary>
    public abstract string Size { get; }

    /// <summary>Begins a transaction that reads several times of one moment.</summary>
    public virtual string BeginRead => "BEGIN";

    /// <summary>Begins a transaction of one moment that may make temporary tables.</summary>
    public virtual string BeginScratch => "BEGIN";

    /// <summary>Where only one result of a connection may be open, rows that are read one by one are fetched by a cursor.</summary>
    public virtual bool NeedsCursors => false;

    /// <summary>Type of a text column of a temporary table; texts are compared by their bytes.</summary>
    public virtual string TextType => "TEXT";

    /// <summary>What follows a temporary table whose rows are kept in the order of its key.</summary>
    public virtual string ByKey => "";

    /// <summary>A join that is to be done in the order in which it is written, for planners that are told.</summary>
    public virtual string JoinInOrder => "JOIN";

    /// <summary>Whether there is a store, and one whose versions have digests.</summary>
    public abstract bool HasDigests(Session session);

    /// <summary>What the engine says of its own files, asked outside of a transaction: what it was asked, and what is wrong.</summary>
    public abstract (string Asked, List<string> Wrong) OwnVerdict(Session session);

    /// <summary>Removes from the files what deleted rows left in them; with <paramref name="all"/> by writing them anew.</summary>
    /// <param name="patience">How long to wait for those who may still see them.</param>
    /// <returns>False when something may be left.</returns>
    public abstract bool ClearRemains(bool all, TimeSpan patience);

    /// <summary>Tries until it is so, or the time is over.</summary>
    protected static bool Becomes(TimeSpan patience, Func<bool> isSo)
    {
        for (var began = Stopwatch.GetTimestamp(); !isSo(); Thread.Sleep(100))
            if (Stopwatch.GetElapsedTime(began) > patience)
                return false;
        return true;
    }

    /// <summary>Brings the schema up to date, or refuses one that is newer than this program.</summary>
    public abstract void Upgrade();

    public abstract DbConnection OpenWriter();

    public abstract DbConnection OpenReader();

    /// <summary>A reader that may make temporary tables, for one who keeps the connection to itself.</summary>
    public abstract DbConnection OpenScratch();

    /// <summary>
    /// Begins a transaction that will write. Until it ends no other may begin, in this process or another, so the order in which they
    /// begin is the order of commits.
    /// </summary>
    public abstract StoreFacts BeginWrite(Session session);

    /// <summary>A table of a FROM clause, to be read in the order of an index; for engines whose planner sees that by itself, the table alone.</summary>
    public virtual string InOrder(string table, string alias, string index) => $"{table} {alias}";

    /// <summary>A column by which rows are only to be tested, not found; for engines whose planner sees that by itself, the column.</summary>
    public virtual string Tested(string column) => column;

    /// <summary>
    /// Said where two rows belong to one resource, and so to one person, and lie in the same partition; nothing where tables are not divided.
    /// </summary>
    public virtual string Together(string alias, string other) => "";

    /// <summary>Whether there is a row, asked for each of few others by itself and where it stands, not joined with all of them.</summary>
    public abstract string ExistsForEach(string rows);

    /// <summary>The column of a row of text by which it is found: the text, or the beginning of it where an index cannot hold it all.</summary>
    public virtual string FoundBy(string row) => $"{row}.folded";

    /// <summary>Type and id of an address such as "Patient/1".</summary>
    public virtual (string Type, string Id) Parts(string address) =>
        ($"substr({address}, 1, instr({address}, '/')-1)", $"substr({address}, instr({address}, '/')+1)");

    /// <summary>Tells the planner how much there is in a temporary table; for engines that look for themselves, nothing.</summary>
    public virtual void Counted(Session session, string table)
    {
    }

    public virtual void CloseCursor(Session session, string cursor)
    {
    }

    /// <summary>A statement as the engine wants it.</summary>
    public virtual string Text(string sql) => sql;

    public virtual string ParameterName(int place) => $"@p{place}";

    /// <summary>
    /// A value as it is sent. No stored text has the character NUL, since the parser refuses it; one engine fails at it and the other takes
    /// it for the end of a pattern, and a search for it must find nothing.
    /// </summary>
    public static object Value(object value) => value is string text && text.Contains('\0') ? text.Replace('\0', '\uFFFF') : value;

    /// <summary>True when the engine could not write (disk full, I/O error, connection lost), so that nothing after it in the transaction counts.</summary>
    public abstract bool EndsTransaction(DbException e);

    /// <summary>True when the same transaction may well succeed when it is begun again.</summary>
    public virtual bool IsPassing(DbException e) => false;

    /// <summary>What to tell where a value is at fault and not the engine.</summary>
    public virtual RefusedException? Refusal(DbException e) => null;

    public abstract void Dispose();
}

/// <summary>The store cannot be opened, and a person has to do something about it first.</summary>
public sealed class StoreUnusableException(string message, Exception? inner = null) : Exception(message, inner);
