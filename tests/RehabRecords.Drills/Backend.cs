using Microsoft.Data.Sqlite;

namespace RehabRecords.Drills;

/// <summary>Where the record of a drill is kept, and how that is looked at when the service does not run.</summary>
internal sealed class Backend : IDisposable
{
    private readonly bool _ownsFolder;

    public Backend(string? folder = null)
    {
        _ownsFolder = folder is null;
        Folder = folder ?? Directory.CreateTempSubdirectory("rehabrecords-drill-").FullName;
    }

    public string Folder { get; }

    public IReadOnlyList<string> Arguments => ["--data", Folder];

    public IReadOnlyDictionary<string, string> Environment { get; } = new Dictionary<string, string>();

    /// <summary>What the engine itself finds wrong with its files; null when nothing.</summary>
    public string? Damage()
    {
        using var connection = new SqliteConnection(new SqliteConnectionStringBuilder { DataSource = Path.Combine(Folder, "records.db"), Pooling = false }.ToString());
        connection.Open();
        using var command = connection.CreateCommand();
        command.CommandText = "PRAGMA integrity_check";
        var verdict = command.ExecuteScalar() as string;
        return verdict == "ok" ? null : verdict;
    }

    public void Dispose()
    {
        if (_ownsFolder)
            Directory.Delete(Folder, recursive: true);
    }
}
