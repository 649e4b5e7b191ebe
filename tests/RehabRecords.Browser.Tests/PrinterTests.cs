using System.Net;
using System.Net.Sockets;
using Microsoft.Extensions.Logging.Abstractions;
using RehabRecords.Printing;

namespace RehabRecords.Browser.Tests;

/// <summary>What the browser that prints may do and what happens when it does not.</summary>
[Collection(Clinic.Name)]
public class PrinterTests(ServedClinic clinic)
{
    private static readonly PageMarks Marks = new("Somebody", "DRAFT", "A test");

    [Fact]
    public async Task It_fetches_nothing_and_runs_no_script()
    {
        using var elsewhere = new TcpListener(IPAddress.Loopback, 0);
        elsewhere.Start();
        var address = $"http://127.0.0.1:{((IPEndPoint)elsewhere.LocalEndpoint).Port}";
        var page = $"""
            <!DOCTYPE html>
            <html lang="en"><head><title>A page that tries to get out</title><link rel="preload" as="image" href="{address}/preload"></head>
            <body><p>Printed</p><img src="{address}/image" alt=""><iframe src="{address}/frame"></iframe><p style="background: url({address}/background)">styled</p>
            <iframe src="file:///etc/hostname"></iframe><script>document.body.append("a script " + "ran");</script></body></html>
            """;
        // With the policy that the service gives it, and with what the browser is told alone.
        foreach (var html in new[] { PrintedPage.Of(page, Marks), page.Replace("<script>document", "<script>//", StringComparison.Ordinal) })
        {
            var made = await clinic.App.Service<Printer>().PrintAsync(html, default);
            Assert.StartsWith("%PDF-", System.Text.Encoding.Latin1.GetString(made, 0, 5), StringComparison.Ordinal);
            Assert.False(elsewhere.Pending(), "the browser asked somebody for something");
            using var pdf = Pdf.Of(made);
            Assert.Empty(pdf.PagesWith("a script ran"));
        }
    }

    [Fact]
    public async Task A_name_cannot_end_the_style_that_holds_it()
    {
        const string name = "O'Fake \"} </style><script>x</script> \\ é 李 *";
        var html = PrintedPage.Of("<!DOCTYPE html><html lang=\"en\"><head><title>t</title></head><body><p>b</p></body></html>", new PageMarks(name, "DRAFT", "A test"));
        Assert.DoesNotContain("<script", html, StringComparison.Ordinal);
        using var pdf = Pdf.Of(await clinic.App.Service<Printer>().PrintAsync(html, default));
        Assert.Contains("O'Fake \"} </style><script>x</script> \\ é", pdf.Pages[0], StringComparison.Ordinal);
    }

    [Fact]
    public async Task It_leaves_nothing_behind()
    {
        // A temporary folder of this test's own, since somebody else may be printing on the same machine.
        var (usual, own) = (Environment.GetEnvironmentVariable("TMPDIR"), Directory.CreateTempSubdirectory("rehabrecords-tmp-").FullName);
        Environment.SetEnvironmentVariable("TMPDIR", own);
        try
        {
            await clinic.App.Service<Printer>().PrintAsync("<!DOCTYPE html><html lang=\"en\"><head><title>t</title></head><body><p>b</p></body></html>", default);
        }
        finally
        {
            Environment.SetEnvironmentVariable("TMPDIR", usual);
        }
        Assert.Empty(Directory.EnumerateFileSystemEntries(own));
        Directory.Delete(own);
    }

    public static TheoryData<string?, int, string> Broken => new()
    {
        { null, 30, "no browser is installed for it" },
        { "exit 0", 30, "The browser made no PDF" },
        { "sleep 60", 1, "was not made within 1 s" },
    };

    [Theory]
    [MemberData(nameof(Broken))]
    public async Task Without_a_browser_that_works_it_is_refused_with_the_remedy(string? script, int seconds, string said)
    {
        var program = script is null ? null : Path.Combine(Path.GetTempPath(), $"rehabrecords-browser-{Guid.NewGuid():N}");
        if (program is not null && !OperatingSystem.IsWindows())
        {
            await File.WriteAllTextAsync(program, $"#!/bin/sh\n{script}\n");
            File.SetUnixFileMode(program, UnixFileMode.UserRead | UnixFileMode.UserWrite | UnixFileMode.UserExecute);
        }
        using var printer = new Printer(new Host.Settings { Documents = new PrintSetting { Browser = program, Seconds = seconds } }, NullLogger<Printer>.Instance);
        var refused = await Assert.ThrowsAsync<Fhir.RefusedException>(() => printer.PrintAsync("<!DOCTYPE html><title>t</title>", default));
        Assert.Equal(Fhir.Refusal.Unavailable, refused.Refusal);
        Assert.Contains(said, refused.Message, StringComparison.Ordinal);
        if (program is not null)
            File.Delete(program);
    }
}
