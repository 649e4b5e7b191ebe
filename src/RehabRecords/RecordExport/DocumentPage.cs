using System.Net;
using System.Text;
using Hl7.Fhir.Model;

namespace RehabRecords.RecordExport;

/// <summary>
/// A document as a page that needs nothing but itself: made from the narrative, which FHIR obliges every document to have,
/// so that it can be read when no program for it is left. Narratives were checked when they were stored.
/// </summary>
internal static class DocumentPage
{
    private const string Style = """
        body { margin: 0 auto; max-width: 44rem; padding: 1.5rem 1.25rem 4rem; background: #fff; color: #1a1a1a; font: 1.05rem/1.55 Georgia, "Times New Roman", serif; }
        h1 { font-size: 1.5rem; line-height: 1.25; } h2 { font-size: 1.15rem; margin: 2rem 0 .5rem; border-bottom: 1px solid #555; }
        .mark { border: 3px double #1a1a1a; padding: .6rem .8rem; }
        dl { display: grid; grid-template-columns: max-content 1fr; gap: .15rem 1rem; } dt { color: #444; } dd { margin: 0; }
        section section { padding: .3rem 0; border-bottom: 1px dotted #999; }
        """;

    public static byte[] Of(Composition document)
    {
        var title = document.Title ?? "Document";
        var unsigned = document.Status == CompositionStatus.Preliminary;
        var page = new StringBuilder("<!DOCTYPE html>\n<html lang=\"en-GB\">\n<head>\n<meta charset=\"utf-8\">\n")
            .Append("<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'; img-src data:\">\n")
            .Append($"<title>{Encode(title)}</title>\n<style>\n{Style}\n</style>\n</head>\n<body>\n");
        if (unsigned)
            page.Append("<p class=\"mark\" role=\"note\"><strong>DRAFT</strong> Nobody has signed this.</p>\n");
        page.Append($"<h1>{Encode(title)}</h1>\n<dl>\n");
        Row(page, "Person", Named(document.Subject));
        Row(page, "Kind", document.Type?.Text ?? document.Type?.Coding.FirstOrDefault()?.Display);
        Row(page, "Date", document.Date);
        Row(page, "Status", document.StatusElement?.JsonValue as string);
        foreach (var author in document.Author)
            Row(page, "Author", Named(author));
        foreach (var attester in document.Attester)
            Row(page, "Attested", $"{Named(attester.Party)} {attester.Time}".Trim());
        Row(page, "Version", $"Composition/{document.Id}, version {document.Meta?.VersionId}");
        page.Append("</dl>\n").Append(document.Text?.Div ?? "").Append('\n');
        foreach (var section in document.Section)
            Append(page, section, 2);
        page.Append("</body>\n</html>\n");
        return Encoding.UTF8.GetBytes(page.ToString());
    }

    private static void Append(StringBuilder page, Composition.SectionComponent section, int level)
    {
        page.Append("<section>\n");
        if (section.Title is { } title)
            page.Append($"<h{level}>{Encode(title)}</h{level}>\n");
        page.Append(section.Text?.Div ?? "").Append('\n');
        foreach (var part in section.Section)
            Append(page, part, Math.Min(level + 1, 6));
        page.Append("</section>\n");
    }

    private static void Row(StringBuilder page, string name, string? value)
    {
        if (!string.IsNullOrEmpty(value))
            page.Append($"<dt>{name}</dt><dd>{Encode(value)}</dd>\n");
    }

    private static string? Named(ResourceReference? reference) => reference?.Display ?? reference?.Reference;

    private static string Encode(string text) => WebUtility.HtmlEncode(text);
}
