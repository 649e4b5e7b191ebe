using System.Text;
using RehabRecords.Tests;

namespace RehabRecords.Browser.Tests;

/// <summary>A picture of every page into docs/pages, and the page that shows them.</summary>
internal static class Pictures
{
    /// <summary>What is further down is more of the same.</summary>
    private const int MostHeight = 1150;

    public static async Task MakeAsync()
    {
        var folder = Directory.CreateDirectory(Path.Combine(Repository.Root, "docs/pages")).FullName;
        foreach (var old in Directory.EnumerateFiles(folder, "*.png"))
            File.Delete(old);
        var clinic = new ServedClinic();
        await clinic.InitializeAsync();
        var shown = new StringBuilder("""
            # The pages

            Pictures of every page with the demo's clinic, whose people are all invented. Made by
            `dotnet run --project tests/RehabRecords.Browser.Tests -- --pages` (needs Chromium); make them again after changing a page.

            """);
        foreach (var page in ClinicPages.All.Where(p => p.Pictured))
        {
            await TakeAsync(clinic, page, Path.Combine(folder, $"{page.Name}.png"));
            shown.Append($"\n## {page.Name}\n\n{page.Caption}\n\n![{page.Caption}]({page.Name}.png)\n");
            Console.WriteLine($"docs/pages/{page.Name}.png");
        }
        await File.WriteAllTextAsync(Path.Combine(folder, "README.md"), shown.ToString());
        await clinic.DisposeAsync();
    }

    private static async Task TakeAsync(ServedClinic clinic, ClinicPage page, string file)
    {
        var window = await clinic.OpenAsync(page.PictureWidth, 600);
        if (page.Working)
            await clinic.WorkAsync(window);
        await window.GotoAsync(clinic.Url(page.Address(clinic)).AbsoluteUri);
        var height = Math.Min(await window.EvaluateAsync<int>("() => document.documentElement.scrollHeight"), MostHeight);
        await window.ScreenshotAsync(new() { Path = file, FullPage = true, Clip = new() { X = 0, Y = 0, Width = page.PictureWidth, Height = height } });
        await window.Context.CloseAsync();
    }
}
