using System.Security.Cryptography;
using System.Text;
using Ganss.Xss;
using Hl7.Fhir.Model;
using RehabRecords.Notes;

namespace RehabRecords.Pages.Received;

/// <summary>
/// The words of a document that another team sent, as a page of their own. Everything that could do anything is taken out by a
/// library (links, pictures, styles, forms, scripts), and the page is shown in a frame that may do nothing either: two walls,
/// since these words were written by nobody here.
/// </summary>
internal static class ForeignText
{
    private const string Styles = "body{margin:0;font:1rem/1.5 Georgia,serif;color:#1a1a1a;background:#fff;overflow-wrap:break-word}h1{font-size:1.2rem}h2{font-size:1.05rem}table{border-collapse:collapse}td,th{border:1px solid #767676;padding:.2rem .5rem;text-align:start}";

    /// <summary>Of the page in the frame: it loads nothing, runs nothing, sends nothing, and stands in a frame of ours only.</summary>
    public static readonly string Policy =
        $"sandbox; default-src 'none'; style-src 'sha256-{Convert.ToBase64String(SHA256.HashData(Encoding.UTF8.GetBytes(Styles)))}'; frame-ancestors 'self'; base-uri 'none'; form-action 'none'";

    private static readonly HtmlSanitizer Sanitizer = new(new HtmlSanitizerOptions
    {
        AllowedTags = new HashSet<string>(StringComparer.OrdinalIgnoreCase)
        {
            "p", "br", "div", "span", "b", "strong", "i", "em", "small", "sub", "sup", "blockquote", "pre", "code", "hr", "h1", "h2", "h3", "h4", "h5", "h6",
            "ul", "ol", "li", "dl", "dt", "dd", "table", "caption", "thead", "tbody", "tfoot", "tr", "td", "th", "col", "colgroup", "abbr", "acronym", "q", "cite", "del", "ins", "bdo", "big", "tt", "samp", "var", "kbd", "dfn", "address",
            // Without an address it leads nowhere; its words stay.
            "a",
        },
        AllowedAttributes = new HashSet<string>(StringComparer.OrdinalIgnoreCase) { "lang", "dir", "title", "colspan", "rowspan", "scope" },
    });

    /// <summary>What the document says in words; empty where it holds no Composition.</summary>
    public static IReadOnlyList<(string? Title, string Html)> Of(Bundle document)
    {
        if (document.Entry.Select(e => e.Resource).OfType<Composition>().FirstOrDefault() is not { } composition)
            return [];
        List<(string?, string)> parts = [(composition.Title, Clean(composition.Text))];
        void Add(IEnumerable<Composition.SectionComponent> sections)
        {
            foreach (var section in sections)
            {
                parts.Add((section.Title, Clean(section.Text)));
                Add(section.Section);
            }
        }

        Add(composition.Section);
        return [.. parts.Where(p => p.Item1 is not null || p.Item2.Length > 0)];
    }

    public static string Page(IReadOnlyList<(string? Title, string Html)> parts)
    {
        var page = new StringBuilder($"<!DOCTYPE html>\n<html lang=\"en-GB\">\n<head>\n<meta charset=\"utf-8\" />\n<title>Words of another team</title>\n<style>{Styles}</style>\n</head>\n<body>\n");
        foreach (var (place, (title, html)) in parts.Index())
            page.Append(title is null ? "" : place == 0 ? $"<h1>{Prose.Encode(title)}</h1>\n" : $"<h2>{Prose.Encode(title)}</h2>\n").Append(html).Append('\n');
        return page.Append("</body>\n</html>\n").ToString();
    }

    internal static string Clean(Narrative? text) => text?.Div is { } div ? Sanitizer.Sanitize(div) : "";
}
