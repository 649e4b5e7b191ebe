using System.Diagnostics;
using System.Text.Json;
using RehabRecords.Tests;

namespace RehabRecords.Browser.Tests;

/// <summary>Every page as html-validate sees it: the standard's rules for elements, attributes and their nesting.</summary>
[Collection(Clinic.Name)]
public class HtmlTests(ServedClinic clinic)
{
    private sealed record Fault(string File, int Line, string Rule, string Message);

    [Fact]
    public async Task Every_page_is_valid_html()
    {
        var folder = Directory.CreateTempSubdirectory("rehabrecords-html-").FullName;
        try
        {
            foreach (var page in ClinicPages.All)
                await File.WriteAllTextAsync(Path.Combine(folder, $"{page.Name}.html"), (await clinic.VisitAsync(page)).Html);
            var faults = await ValidateAsync(folder);
            Assert.Empty(faults.Select(f => $"{Path.GetFileName(f.File)}:{f.Line} {f.Rule}: {f.Message}"));
            // That the validator looks at all.
            await File.WriteAllTextAsync(Path.Combine(folder, "broken.html"), "<!DOCTYPE html><html lang=\"en\"><head><title>t</title></head><body><ul><p>no item</p></ul></body></html>");
            Assert.Contains(await ValidateAsync(folder), f => f.Rule == "element-permitted-content");
        }
        finally
        {
            Directory.Delete(folder, recursive: true);
        }
    }

    private static async Task<Fault[]> ValidateAsync(string folder)
    {
        var start = new ProcessStartInfo("node", [Path.Combine(Repository.Root, "tests/RehabRecords.Browser.Tests/validate.mjs"), folder]) { RedirectStandardOutput = true, RedirectStandardError = true };
        using var node = Process.Start(start)!;
        var said = node.StandardError.ReadToEndAsync();
        var found = await node.StandardOutput.ReadToEndAsync();
        await node.WaitForExitAsync();
        Assert.True(node.ExitCode == 0, $"the validator ended with {node.ExitCode}: {await said}");
        return JsonSerializer.Deserialize<Fault[]>(found, JsonSerializerOptions.Web)!;
    }
}
