using System.Globalization;
using Microsoft.Data.Sqlite;

namespace RehabRecords.Drills;

/// <summary>
/// What a cut of the power would leave: the writes of the service are recorded by strace, and replayed up to a moment, where
/// of what was not yet synced nothing, all, or some arrived, the last of it perhaps in part. Everything that was
/// acknowledged by then must be in what SQLite makes of these files. The same is done with a writer that syncs less, which
/// must lose something: else the drill could not tell.
/// </summary>
internal static class PowerLoss
{
    private const int Sector = 512;

    public static async Task<Finding> ServiceAsync(int cuts, int seed)
    {
        using var backend = new Backend();
        var trace = Path.Combine(backend.Folder, "trace");
        var acknowledged = new List<(double At, string Id)>();
        await using (var instance = await Instance.StartAsync(backend, [.. Strace(trace)]))
        {
            await Task.WhenAll(Enumerable.Range(0, 4).Select(async client =>
            {
                for (var n = 0; n < 60; n++)
                {
                    var id = (string)(await Person.PostAsync(instance, "/fhir/Observation", Person.Observation(null, (client * 1000) + n)))["id"]!;
                    lock (acknowledged)
                        acknowledged.Add((Now(), id));
                }
            }));
            await instance.KillAsync();
        }

        var steps = Recording.Read(trace, Path.Combine(backend.Folder, "records.db"));
        var (lost, damaged) = Replay(steps, acknowledged, cuts, seed, "SELECT DISTINCT id FROM resource WHERE type='Observation'");
        return new Finding("power cut, replayed from recorded writes", cuts, acknowledged.Count, lost, $"{steps.Count} writes and syncs recorded; {damaged} cuts left a damaged file", lost == 0 && damaged == 0);
    }

    /// <summary>The same with a bare writer of the same engine, fully synced and less: the first must lose nothing, the second something.</summary>
    public static async Task<Finding> ControlAsync(int cuts, int seed)
    {
        var found = new Dictionary<string, (long Lost, int Damaged, int Writes)>(StringComparer.Ordinal);
        foreach (var synchronous in (string[])["FULL", "NORMAL"])
        {
            using var backend = new Backend();
            var (trace, file) = (Path.Combine(backend.Folder, "trace"), Path.Combine(backend.Folder, "bare.db"));
            var said = await Shell.RunAsync("strace", [.. Strace(trace).Skip(1), "dotnet", Path.Combine(AppContext.BaseDirectory, "RehabRecords.Drills.dll"), "bare-writer", file, synchronous]);
            var acknowledged = said.Split('\n', StringSplitOptions.RemoveEmptyEntries).Select(l => l.Split(' ')).Select(p => (double.Parse(p[0], CultureInfo.InvariantCulture), p[1])).ToList();
            var (lost, damaged) = Replay(Recording.Read(trace, file), acknowledged, cuts, seed, "SELECT id FROM kept");
            found[synchronous] = (lost, damaged, acknowledged.Count);
        }

        return new Finding("the same with a bare writer, which loses writes when it syncs less", cuts, found["FULL"].Writes, found["FULL"].Lost,
            $"with synchronous=NORMAL {found["NORMAL"].Lost} of the cuts' acknowledged writes were lost, as they must be", found["FULL"] is { Lost: 0, Damaged: 0 } && found["NORMAL"].Lost > 0);
    }

    /// <summary>Writes rows one by one and says when each was committed.</summary>
    public static void Write(string file, string synchronous)
    {
        using var connection = new SqliteConnection(new SqliteConnectionStringBuilder { DataSource = file, Pooling = false }.ToString());
        connection.Open();
        Run(connection, "PRAGMA journal_mode=WAL");
        Run(connection, $"PRAGMA synchronous={synchronous}");
        Run(connection, "PRAGMA wal_autocheckpoint=60");
        Run(connection, "CREATE TABLE kept (id TEXT PRIMARY KEY, body TEXT)");
        for (var n = 0; n < 300; n++)
        {
            Run(connection, $"INSERT INTO kept VALUES ('row-{n}', '{new string('x', 900)}')");
            Console.WriteLine(string.Create(CultureInfo.InvariantCulture, $"{Now():0.000000} row-{n}"));
        }
    }

    private static IEnumerable<string> Strace(string trace) => ["strace", "-f", "-y", "-xx", "-ttt", "-s", "1000000", "-e", "trace=pwrite64,write,fsync,fdatasync,ftruncate,unlink", "-e", "signal=none", "-o", trace];

    private static double Now() => (DateTime.UtcNow - DateTime.UnixEpoch).TotalSeconds;

    private static (long Lost, int Damaged) Replay(IReadOnlyList<Step> steps, IReadOnlyList<(double At, string Id)> acknowledged, int cuts, int seed, string ids)
    {
        var random = new Random(seed);
        var (lost, damaged) = (0L, 0);
        var folder = Directory.CreateTempSubdirectory("rehabrecords-cut-").FullName;
        var disk = new Dictionary<string, Blocks>(StringComparer.Ordinal);
        try
        {
            // The first writes make the file; nothing is acknowledged before them.
            var first = steps.TakeWhile(s => s.At < acknowledged[0].At).Count();
            var done = 0;
            foreach (var (cut, at) in Enumerable.Range(0, cuts).Select(_ => random.Next(first, steps.Count)).Order().Index())
            {
                for (; done < at; done++)
                    (disk.TryGetValue(steps[done].File, out var blocks) ? blocks : disk[steps[done].File] = new Blocks()).Do(steps[done]);
                foreach (var (suffix, held) in disk)
                    File.WriteAllBytes(Path.Combine(folder, "cut.db" + suffix), held.After(random, cut % 4, Sector));
                var due = acknowledged.Where(a => a.At < steps[at].At).Select(a => a.Id);
                try
                {
                    var found = Found(Path.Combine(folder, "cut.db"), ids);
                    lost += due.Count(id => !found.Contains(id));
                }
                catch (SqliteException)
                {
                    damaged++;
                }

                foreach (var file in Directory.EnumerateFiles(folder))
                    File.Delete(file);
            }
        }
        finally
        {
            foreach (var held in disk.Values)
                held.Dispose();
            Directory.Delete(folder, recursive: true);
        }

        return (lost, damaged);
    }

    private static HashSet<string> Found(string file, string ids)
    {
        using var connection = new SqliteConnection(new SqliteConnectionStringBuilder { DataSource = file, Pooling = false }.ToString());
        connection.Open();
        using var check = connection.CreateCommand();
        check.CommandText = "PRAGMA integrity_check";
        if (check.ExecuteScalar() is not "ok")
            throw new SqliteException("damaged", SQLitePCL.raw.SQLITE_CORRUPT);
        using var command = connection.CreateCommand();
        command.CommandText = ids;
        using var reader = command.ExecuteReader();
        var found = new HashSet<string>(StringComparer.Ordinal);
        while (reader.Read())
            found.Add(reader.GetString(0));
        return found;
    }

    private static void Run(SqliteConnection connection, string sql)
    {
        using var command = connection.CreateCommand();
        command.CommandText = sql;
        command.ExecuteNonQuery();
    }
}
