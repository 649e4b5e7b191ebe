using System.Diagnostics;
using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Host;

namespace RehabRecords.Printing;

/// <summary>
/// Makes a PDF of a page of our own by a browser that the operator installed. The browser gets one file with everything
/// in it, a profile that is thrown away, no network and a time limit; the page's own policy allows no script.
/// </summary>
public sealed partial class Printer(Settings settings, ILogger<Printer> log) : IDisposable
{
    public const string MediaType = "application/pdf";

    private static ReadOnlySpan<byte> Beginning => "%PDF-"u8;

    private readonly SemaphoreSlim _free = new(settings.Documents.AtOnce);

    /// <param name="html">A whole page that needs nothing but itself: <see cref="PrintedPage.Of"/>.</param>
    /// <exception cref="RefusedException">No browser is installed for it, too many are at work, or it did not print.</exception>
    public async Task<byte[]> PrintAsync(string html, CancellationToken ct)
    {
        if (settings.Documents.Browser is not { } browser)
            throw Unavailable($"No PDF can be made here, because no browser is installed for it. The operator installs Chromium and names it in the setting {Settings.Section}:Documents:Browser; "
                + "the same document as text/html prints well from any browser.");
        using var limit = CancellationTokenSource.CreateLinkedTokenSource(ct);
        limit.CancelAfter(TimeSpan.FromSeconds(settings.Documents.Seconds));
        try
        {
            await _free.WaitAsync(limit.Token);
            try
            {
                return await PrintInAsync(Directory.CreateTempSubdirectory("rehabrecords-print-").FullName, browser, html, limit.Token);
            }
            finally
            {
                _free.Release();
            }
        }
        catch (OperationCanceledException) when (!ct.IsCancellationRequested)
        {
            throw Unavailable($"The PDF was not made within {settings.Documents.Seconds} s ({Settings.Section}:Documents:Seconds); try again when fewer are wanted at once.");
        }
    }

    public void Dispose() => _free.Dispose();

    /// <summary>The folder is readable by the owner of the process alone, and gone when the document is made.</summary>
    private async Task<byte[]> PrintInAsync(string folder, string browser, string html, CancellationToken ct)
    {
        try
        {
            var (page, pdf) = (Path.Combine(folder, "page.html"), Path.Combine(folder, "page.pdf"));
            await File.WriteAllTextAsync(page, html, ct);
            var said = await RunAsync(browser, folder, page, pdf, ct);
            var made = File.Exists(pdf) ? await File.ReadAllBytesAsync(pdf, ct) : [];
            if (made.AsSpan().StartsWith(Beginning))
                return made;
            LogFailed(log, browser, said);
            throw Unavailable($"The browser made no PDF; what it said is in the log of the service. The operator checks {Settings.Section}:Documents:Browser and Documents:Sandbox.");
        }
        finally
        {
            await RemoveAsync(folder);
        }
    }

    private async Task<string> RunAsync(string browser, string folder, string page, string pdf, CancellationToken ct)
    {
        var start = new ProcessStartInfo(browser, Arguments(folder, page, pdf)) { RedirectStandardError = true, RedirectStandardOutput = true, RedirectStandardInput = true, WorkingDirectory = folder };
        // Nothing of the operator's account: fonts are found by the system's own configuration.
        foreach (var home in (string[])["HOME", "XDG_CONFIG_HOME", "XDG_CACHE_HOME", "XDG_RUNTIME_DIR", "TMPDIR"])
            start.Environment[home] = folder;
        Process process;
        try
        {
            process = Process.Start(start)!;
        }
        catch (System.ComponentModel.Win32Exception unstartable)
        {
            return unstartable.Message;
        }

        using (process)
        {
            process.StandardInput.Close();
            // Both are read while it runs, since a full pipe would hold it.
            var (errors, output) = (process.StandardError.ReadToEndAsync(CancellationToken.None), process.StandardOutput.ReadToEndAsync(CancellationToken.None));
            try
            {
                await process.WaitForExitAsync(ct);
            }
            catch (OperationCanceledException)
            {
                process.Kill(entireProcessTree: true);
                await process.WaitForExitAsync(CancellationToken.None);
                throw;
            }
            return $"{await errors}{await output}";
        }
    }

    private IEnumerable<string> Arguments(string folder, string page, string pdf) =>
    [
        "--headless", .. settings.Documents.Sandbox ? Array.Empty<string>() : ["--no-sandbox"], "--disable-gpu", "--no-first-run", "--disable-sync", "--disable-extensions",
        "--disable-background-networking", "--disable-component-update", "--disable-quic", "--disable-dev-shm-usage",
        // No name is looked up and no address reached: the page holds everything it needs.
        "--host-resolver-rules=MAP * ~NOTFOUND", "--proxy-server=http://127.0.0.1:9", "--proxy-bypass-list=<-loopback>",
        $"--user-data-dir={Path.Combine(folder, "profile")}", "--no-pdf-header-footer", $"--print-to-pdf={pdf}", new Uri(page).AbsoluteUri,
    ];

    private static async Task RemoveAsync(string folder)
    {
        // A child of the browser may still be writing its last lines.
        for (var tries = 0; tries < 40; tries++)
            try
            {
                Directory.Delete(folder, recursive: true);
                return;
            }
            catch (IOException)
            {
                await Task.Delay(50, CancellationToken.None);
            }
    }

    private static RefusedException Unavailable(string message) => new(Refusal.Unavailable, OperationOutcome.IssueType.NotSupported, message);

    [LoggerMessage(Level = LogLevel.Error, Message = "{Browser} made no PDF: {Said}")]
    private static partial void LogFailed(ILogger log, string browser, string said);
}
