using System.Globalization;
using System.Text;
using System.Text.RegularExpressions;
using Microsoft.AspNetCore.Components;
using Microsoft.AspNetCore.Components.Web;
using RehabRecords.Pages;

namespace RehabRecords.Printing;

/// <summary>What stands in the margins of every page of a document.</summary>
/// <param name="Who">Whose it is; top, at the start of the line.</param>
/// <param name="Standing">What it is worth, such as "DRAFT, not signed"; top, at the end of the line.</param>
/// <param name="What">Which document it is; bottom, beside the number of the page.</param>
public sealed record PageMarks(string Who, string Standing, string What)
{
    /// <summary>A word that lies across every page behind the text; null for a document that holds.</summary>
    public string? Across { get; init; }
}

/// <summary>Turns a page of the service into one file that prints by itself: styles inside, marks on every page, and a policy that lets it load nothing.</summary>
internal static partial class PrintedPage
{
    private const string Policy = "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'; img-src data:\" />";

    /// <param name="html">A whole page as it is served.</param>
    /// <param name="more">Styles for the printed page beyond its own.</param>
    public static string Of(string html, PageMarks marks, string more = "")
    {
        var whole = Stylesheet().Replace(html, link => $"<style>{Styles(link.Groups["address"].Value)}</style>");
        var head = whole.IndexOf("<head>", StringComparison.Ordinal) + "<head>".Length;
        var end = whole.IndexOf("</head>", StringComparison.Ordinal);
        return $"{whole[..head]}\n{Policy}{whole[head..end]}<style>{more}\n{Margins(marks)}</style>\n{whole[end..]}";
    }

    /// <summary>A page as it is served, made without a request.</summary>
    public static async Task<string> RenderAsync<TPage>(IServiceProvider services, ILoggerFactory loggers, object model)
        where TPage : IComponent
    {
        await using var scope = services.CreateAsyncScope();
        await using var renderer = new HtmlRenderer(scope.ServiceProvider, loggers);
        return await renderer.Dispatcher.InvokeAsync(async () =>
            (await renderer.RenderComponentAsync<TPage>(ParameterView.FromDictionary(new Dictionary<string, object?> { ["Model"] = model }))).ToHtmlString());
    }

    private static string Styles(string address) =>
        PageAssets.Text(address["/assets/".Length..]);

    private static string Margins(PageMarks marks) => $$"""
        @page {
          @top-left { content: {{Quoted(marks.Who)}}; width: 70%; text-align: left; vertical-align: bottom; padding-bottom: .25cm; font: 9pt/1.25 "DejaVu Sans", "Liberation Sans", Arial, sans-serif; }
          @top-right { content: {{Quoted(marks.Standing)}}; width: 30%; text-align: right; vertical-align: bottom; padding-bottom: .25cm; font: 700 10pt/1.25 "DejaVu Sans", "Liberation Sans", Arial, sans-serif; }
          @bottom-left { content: {{Quoted(marks.What)}}; width: 75%; text-align: left; vertical-align: top; padding-top: .25cm; font: 8pt/1.25 "DejaVu Sans", "Liberation Sans", Arial, sans-serif; }
          @bottom-center { content: none; }
          @bottom-right { content: "Page " counter(page) " of " counter(pages); width: 25%; text-align: right; vertical-align: top; padding-top: .25cm; font: 9pt/1.25 "DejaVu Sans", "Liberation Sans", Arial, sans-serif; }
        }
        """ + (marks.Across is null ? "" : WordAcross.Style(marks.Across));

    /// <summary>A string of CSS. Whatever is no letter, digit or space of ASCII is written by its number, which ends with a space, so that a name can end neither the string nor the style.</summary>
    internal static string Quoted(string text)
    {
        var quoted = new StringBuilder("\"");
        foreach (var rune in text.EnumerateRunes())
            quoted.Append(rune.IsAscii && (Rune.IsLetterOrDigit(rune) || rune.Value == ' ') ? rune.ToString() : $"\\{rune.Value.ToString("x", CultureInfo.InvariantCulture)} ");
        return quoted.Append('"').ToString();
    }

    [GeneratedRegex("""<link rel="stylesheet" href="(?<address>[^"?]+)[^"]*" ?/?>""", RegexOptions.ExplicitCapture, 1000)]
    private static partial Regex Stylesheet();
}
