using System.Data.Common;
using RehabRecords.Fhir.Search;
using RehabRecords.Fhir.Store;
using RehabRecords.Host;

namespace RehabRecords.Commands;

/// <summary>The commands for an operator: back up, verify, restore, check and move a whole store. A backup and a check are made while the service runs.</summary>
internal static class StoreCommands
{
    private const int Failed = 1;
    private const int NotWhole = 3;

    /// <summary>Keys by which documents are signed; without them a restored service could not go on signing with the same.</summary>
    private const string Keys = "signing";

    public static async Task<int> RunAsync(CommandLine line, Func<string[], WebApplication> build)
    {
        using var stop = new CancellationTokenSource();
        Console.CancelKeyPress += (_, pressed) =>
        {
            pressed.Cancel = true;
            stop.Cancel();
        };
        try
        {
            await using var app = build(line.Settings);
            var settings = app.Services.GetRequiredService<Settings>();
            var clock = app.Services.GetService<TimeProvider>() ?? TimeProvider.System;
            return line.Verb switch
            {
                CommandLine.Backup => Backup(line, settings, clock, stop.Token),
                CommandLine.VerifyBackup => Verify(line.Arguments[0], stop.Token),
                CommandLine.CheckStore => Check(settings, app.Services.GetRequiredService<SearchIndexer>(), stop.Token),
                CommandLine.Restore => Restore(line, settings, stop.Token),
                _ => Move(settings, stop.Token),
            };
        }
        catch (OperationCanceledException)
        {
            return await FailAsync("Stopped. Nothing was left half-done.");
        }
        catch (StoreCopyException different)
        {
            await Console.Error.WriteLineAsync(different.Message);
            return NotWhole;
        }
        catch (DbException e)
        {
            return await FailAsync($"The database could not do it: {e.Message} Nothing was left half-done.");
        }
        catch (Exception e) when (e is StoreUnusableException or IOException or UnauthorizedAccessException or InvalidOperationException)
        {
            return await FailAsync(e.Message);
        }
    }

    private static int Backup(CommandLine line, Settings settings, TimeProvider clock, CancellationToken ct)
    {
        var folder = line.Arguments[0];
        using var progress = new ProgressLine();
        var place = settings.Store.Place(settings.DataFolder);
        var content = StoreBackup.Make(place, folder, clock.GetUtcNow(), (table, rows) => progress.Show($"{table}: {rows} rows"), ct);
        var keys = Path.Combine(line.KeysFolder ?? settings.DataFolder, Keys);
        if (Directory.Exists(keys))
            CopyKeys(keys, Path.Combine(folder, Keys));
        progress.Dispose();
        Say(content);
        Console.WriteLine($"{folder} holds {place.Name} as it was at {content.At.UtcDateTime:yyyy-MM-dd HH:mm:ss} UTC{(Directory.Exists(keys) ? ", and the keys by which documents are signed: keep it where only you can read it" : "")}.");
        return 0;
    }

    private static int Verify(string folder, CancellationToken ct)
    {
        var content = StoreBackup.Verify(folder, ct);
        Say(content);
        Console.WriteLine($"{folder} is whole: the record as it was at {content.At.UtcDateTime:yyyy-MM-dd HH:mm:ss} UTC.");
        return 0;
    }

    private static int Check(Settings settings, SearchIndexer indexer, CancellationToken ct)
    {
        using var progress = new ProgressLine();
        var place = settings.Store.Place(settings.DataFolder);
        var verdict = StoreCheck.Run(place, indexer, problem => Console.WriteLine($"- {problem}"), (what, rows) => progress.Show($"{what}: {rows}"), ct);
        progress.Dispose();
        Console.WriteLine($"Read: {verdict.Versions} versions against their digests, the histories, the index of {verdict.Resources} resources; {verdict.Engine}.");
        Console.WriteLine(verdict.IsWhole ? $"{place.Name} is whole." : $"{place.Name} is NOT whole: {verdict.Problems} problems, named above. Keep it as it is, and restore the latest backup that verify-backup finds whole.");
        return verdict.IsWhole ? 0 : NotWhole;
    }

    private static int Restore(CommandLine line, Settings settings, CancellationToken ct)
    {
        var folder = line.Arguments[0];
        using var progress = new ProgressLine();
        var place = settings.Store.Place(settings.DataFolder);
        var content = StoreBackup.Restore(folder, place, (table, rows) => progress.Show($"{table}: {rows} rows"), ct);
        var keys = Path.Combine(line.KeysFolder ?? settings.DataFolder, Keys);
        if (Directory.Exists(Path.Combine(folder, Keys)) && !Directory.Exists(keys))
            CopyKeys(Path.Combine(folder, Keys), keys);
        progress.Dispose();
        Say(content);
        Console.WriteLine($"Restored into {place.Name}, read again there and found the same: the record as it was at {content.At.UtcDateTime:yyyy-MM-dd HH:mm:ss} UTC.");
        return 0;
    }

    private static int Move(Settings settings, CancellationToken ct)
    {
        if (!settings.Store.IsPostgresql)
            throw new InvalidOperationException($"move-store copies the store of the data folder into PostgreSQL: set {Settings.Section}:Store:Engine to {StoreSetting.Postgresql} and {Settings.Section}:Store:ConnectionFile to the file with the connection.");
        using var progress = new ProgressLine();
        var (from, into) = (new SqlitePlace(settings.DataFolder), settings.Store.Place(settings.DataFolder));
        var tables = StoreBackup.Move(from, into, (table, rows) => progress.Show($"{table}: {rows} rows"), ct);
        progress.Dispose();
        Say(tables);
        Console.WriteLine($"Copied {from.Name} into {into.Name}, read again there and found the same. The file is left as it was; the service uses the database from its next start with these settings. Keep the data folder: it holds the keys by which documents are signed.");
        return 0;
    }

    private static void Say(BackupContent content)
    {
        Say(content.Tables);
        Console.WriteLine($"{content.Versions} versions, {content.Rows} rows in all; the last commit is number {content.LastCommit}.");
    }

    private static void Say(IReadOnlyList<TableDigest> tables)
    {
        foreach (var table in tables)
            Console.WriteLine($"{table.Table,-14} {table.Rows,12}  {table.Sha256}");
    }

    private static void CopyKeys(string from, string into)
    {
        Directory.CreateDirectory(into);
        foreach (var file in Directory.EnumerateFiles(from))
        {
            var copy = Path.Combine(into, Path.GetFileName(file));
            File.Copy(file, copy);
            if (!OperatingSystem.IsWindows())
                File.SetUnixFileMode(copy, File.GetUnixFileMode(file));
        }
    }

    private static async Task<int> FailAsync(string message)
    {
        await Console.Error.WriteLineAsync(message);
        return Failed;
    }
}
