using System.Globalization;
using RehabRecords.Access;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.RecordExport;

namespace RehabRecords.Commands;

/// <summary>The commands for a records officer: export, verify and import the record of a person, without a service running.</summary>
internal static class RecordCommands
{
    private const int Failed = 1;
    private const int NotWhole = 3;

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
            return line.Verb switch
            {
                CommandLine.ExportRecord when line.From is { } service => await DownloadAsync(service, line.Arguments[0], line.Arguments[1], stop.Token),
                CommandLine.ExportRecord => await ExportAsync(line, build, stop.Token),
                CommandLine.VerifyRecord => await VerifyAsync(line.Arguments[0], stop.Token),
                CommandLine.VerifyAudit => await AuditCommand.RunAsync(line, build),
                CommandLine.ApplyErasures => await ErasureCommands.ApplyAsync(line, build, stop.Token),
                CommandLine.ClearRemains => await ErasureCommands.ClearAsync(line, build, stop.Token),
                CommandLine.Retention => await RetentionCommand.RunAsync(line, build, stop.Token),
                _ => await ImportAsync(line, build, stop.Token),
            };
        }
        catch (OperationCanceledException)
        {
            return await FailAsync("Stopped. Nothing was left half-done.");
        }
        catch (RefusedException refused)
        {
            return await FailAsync(refused.Message);
        }
        catch (StoreUnusableException unusable)
        {
            return await FailAsync(unusable.Message + (line.Verb == CommandLine.ExportRecord ? " To export from a service that is running, give its address: --from http://127.0.0.1:5080" : ""));
        }
        catch (Exception e) when (e is IOException or UnauthorizedAccessException or HttpRequestException)
        {
            return await FailAsync(e.Message);
        }
    }

    private static async Task<int> ExportAsync(CommandLine line, Func<string[], WebApplication> build, CancellationToken ct)
    {
        var (person, path) = (line.Arguments[0], line.Arguments[1]);
        await using var app = build(line.Settings);
        await using var scope = app.Services.CreateAsyncScope();
        using var export = await scope.ServiceProvider.GetRequiredService<ExportRecord>().BeginAsync(person, ct);
        using var progress = new ProgressLine();
        export.Progress = progress.Show;
        var digest = "";
        await NewFile.WriteAsync(path, async file => digest = await export.WriteAsync(file, ct), ct);
        progress.Dispose();
        Console.WriteLine($"{path}: {export.Versions} versions, {new FileInfo(path).Length} bytes. The record as it was at {export.At.UtcDateTime:yyyy-MM-dd HH:mm:ss} UTC.");
        Console.WriteLine($"Digest of its manifest, to be noted somewhere else: {digest}");
        return 0;
    }

    private static async Task<int> DownloadAsync(Uri service, string person, string path, CancellationToken ct)
    {
        using var http = new HttpClient { BaseAddress = service, Timeout = Timeout.InfiniteTimeSpan };
        using var answer = await http.GetAsync($"/api/people/{Uri.EscapeDataString(person)}/record", HttpCompletionOption.ResponseHeadersRead, ct);
        if (!answer.IsSuccessStatusCode)
            return await FailAsync($"{service} answered {(int)answer.StatusCode}: {await answer.Content.ReadAsStringAsync(ct)}");
        using var progress = new ProgressLine();
        await NewFile.WriteAsync(path, async file =>
        {
            await using var from = await answer.Content.ReadAsStreamAsync(ct);
            var buffer = new byte[128 * 1024];
            for (int read; (read = await from.ReadAsync(buffer, ct)) > 0;)
            {
                await file.WriteAsync(buffer.AsMemory(0, read), ct);
                progress.Show($"{file.Position / 1048576.0:0.0} MB received");
            }
        }, ct);
        progress.Dispose();
        return await VerifyAsync(path, ct);
    }

    private static async Task<int> VerifyAsync(string path, CancellationToken ct)
    {
        await using var zip = File.OpenRead(path);
        using var staging = new VersionStaging(keepBytes: false);
        using var progress = new ProgressLine();
        var verdict = await new VerifyRecord(staging, progress.Show).RunAsync(zip, ct);
        progress.Dispose();
        return Say(path, verdict);
    }

    private static async Task<int> ImportAsync(CommandLine line, Func<string[], WebApplication> build, CancellationToken ct)
    {
        var path = line.Arguments[0];
        await using var zip = File.OpenRead(path);
        await using var app = build(line.Settings);
        using var progress = new ProgressLine();
        var (verdict, result) = await ImportRecord.RunAsync(app.Services.GetRequiredService<Stores>().Of(Stores.Only), zip, progress.Show, ct);
        progress.Dispose();
        var code = Say(path, verdict);
        Console.WriteLine(result is null
            ? "Nothing was imported."
            : $"{result.Restored} versions were restored, {result.Present} were there already.");
        return code;
    }

    private static int Say(string path, RecordVerdict verdict)
    {
        if (!verdict.IsWhole)
        {
            Console.WriteLine($"{path} is NOT as it was exported:");
            foreach (var problem in verdict.Problems)
                Console.WriteLine($"- {problem}");
            return NotWhole;
        }

        var manifest = verdict.Manifest!;
        Console.WriteLine($"{path} is whole: {manifest.Versions} versions ({manifest.Deletions} deletions) in {manifest.Files.Count} files, the record of {manifest.Person} as it was at {manifest.ExportedAt.UtcDateTime:yyyy-MM-dd HH:mm:ss} UTC.");
        foreach (var remark in manifest.Remarks)
            Console.WriteLine($"Remark: {remark}");
        if (manifest.Outside.Count > 0)
            Console.WriteLine($"References that lead out of it: {manifest.Outside.Count.ToString(CultureInfo.InvariantCulture)}, listed in the manifest.");
        Console.WriteLine($"Digest of its manifest, to be compared with the one noted when it was exported: {verdict.Digest}");
        return 0;
    }

    private static async Task<int> FailAsync(string message)
    {
        await Console.Error.WriteLineAsync(message);
        return Failed;
    }
}
