using System.Diagnostics;
using System.Globalization;
using System.Text;

namespace RehabRecords.Browser.Tests;

/// <summary>A PDF as the programs of Poppler read it, which share no code with the browser that made it.</summary>
public sealed class Pdf : IDisposable
{
    private readonly string _file = Path.Combine(Path.GetTempPath(), $"rehabrecords-{Guid.NewGuid():N}.pdf");

    private Pdf(byte[] bytes)
    {
        File.WriteAllBytes(_file, bytes);
        Info = Run("pdfinfo", _file).Split('\n').Select(l => l.Split(':', 2)).Where(l => l.Length == 2).ToDictionary(l => l[0], l => l[1].Trim());
        Pages = [.. Enumerable.Range(1, int.Parse(Info["Pages"], CultureInfo.InvariantCulture)).Select(n => Run("pdftotext", "-f", $"{n}", "-l", $"{n}", "-enc", "UTF-8", _file, "-"))];
        // Two lines of heading; then name, type, encoding, embedded, subset, unicode, object.
        Fonts = [.. Run("pdffonts", _file).Split('\n', StringSplitOptions.RemoveEmptyEntries).Skip(2)];
    }

    public IReadOnlyDictionary<string, string> Info { get; }

    /// <summary>The text of each page.</summary>
    public IReadOnlyList<string> Pages { get; }

    public IReadOnlyList<string> Fonts { get; }

    public static Pdf Of(byte[] bytes) => new(bytes);

    public static async Task<Pdf> GetAsync(HttpClient http, string address, string accept = "*/*")
    {
        using var request = new HttpRequestMessage(HttpMethod.Get, address) { Headers = { { "Accept", accept } } };
        using var response = await http.SendAsync(request);
        var bytes = await response.Content.ReadAsByteArrayAsync();
        Assert.True(response.IsSuccessStatusCode, $"{address}: {(int)response.StatusCode} {Encoding.UTF8.GetString(bytes)}");
        Assert.Equal("application/pdf", response.Content.Headers.ContentType?.MediaType);
        return new Pdf(bytes);
    }

    /// <summary>What every PDF of the service keeps: read aloud in order, readable without our fonts, searchable, and numbered.</summary>
    public void IsSound()
    {
        Assert.Equal("yes", Info["Tagged"]);
        Assert.Equal("no", Info["JavaScript"]);
        Assert.NotEmpty(Info["Title"]);
        Assert.NotEmpty(Fonts);
        Assert.All(Fonts, font => Assert.Matches(@" yes +(yes|no) +yes +\d+ +\d+ *$", font));
        Assert.All(Pages.Index(), page => Assert.Contains($"Page {page.Index + 1} of {Pages.Count}", page.Item, StringComparison.Ordinal));
    }

    /// <summary>A text without white space, since lines break where they will.</summary>
    public static string Close(string text) => string.Concat(text.Where(c => !char.IsWhiteSpace(c) && c != '\u00ad'));

    /// <summary>Numbers of the pages that a text stands on, from 1.</summary>
    public IReadOnlyList<int> PagesWith(string text) => [.. Pages.Index().Where(p => Close(p.Item).Contains(Close(text), StringComparison.Ordinal)).Select(p => p.Index + 1)];

    public void Dispose() => File.Delete(_file);

    private static string Run(string program, params string[] arguments)
    {
        using var process = Process.Start(new ProcessStartInfo(program, arguments) { RedirectStandardOutput = true, StandardOutputEncoding = Encoding.UTF8 })!;
        var output = process.StandardOutput.ReadToEnd();
        process.WaitForExit();
        Assert.True(process.ExitCode == 0, $"{program} ended with {process.ExitCode}");
        return output;
    }
}
