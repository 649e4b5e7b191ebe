using System.Text;
using Hl7.Fhir.Model;
using RehabRecords.Documents;

namespace RehabRecords.Notes;

/// <summary>A note as a page to read, print and check: each statement with links to what it rests on.</summary>
public static class NotePage
{
    public const string StylesheetAddress = "/api/notes/note.css";

    public static string Of(Composition note, DocumentKind kind)
    {
        var statements = NoteStatement.Of(note, kind);
        var draft = note.IsDraft();
        var title = note.Title ?? kind.Name;
        var period = note.Event.FirstOrDefault()?.Period;
        var page = new StringBuilder();
        page.Append("<!DOCTYPE html>\n<html lang=\"en-GB\">\n<head>\n<meta charset=\"utf-8\">\n")
            .Append("<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n")
            .Append($"<title>{Prose.Encode((draft ? "DRAFT: " : "") + title)}</title>\n")
            .Append($"<link rel=\"stylesheet\" href=\"{StylesheetAddress}\">\n</head>\n")
            .Append(draft ? "<body class=\"draft\">\n" : "<body>\n").Append("<main>\n");
        var urgent = statements.Where(s => s.IsUrgent && s.State != StatementState.Removed).ToList();
        if (urgent.Count > 0)
            page.Append("<section class=\"urgent\" aria-labelledby=\"urgent\">\n<h2 id=\"urgent\">Act on this first</h2>\n")
                .AppendJoin("", urgent.Select(s => $"<p>{Prose.Encode(s.Text)}</p>\n")).Append("</section>\n");
        if (draft)
            page.Append($"<p class=\"mark\" role=\"note\"><strong>DRAFT</strong> {Prose.Encode(Presentation.Mark(note)["DRAFT. ".Length..])}</p>\n");
        else
            page.Append($"<p class=\"mark\" role=\"note\"><strong>{Prose.Encode(Presentation.Mark(note))}</strong></p>\n");
        page.Append($"<h1>{Prose.Encode(title)}</h1>\n<dl>\n");
        Row(page, "Person", note.Subject?.Display ?? note.Subject?.Reference ?? "");
        Row(page, "Time covered", $"{Day(period?.Start)} to {Day(period?.End)} ({(Headings.Of(note) == Headings.Discharge ? "the day of discharge" : "the day of the latest result")})");
        Row(page, "Author", string.Join("; ", note.Author.Select(a => a.Reference == DraftAuthor.Address ? $"{a.Display} (software)" : a.Display)));
        Row(page, "Status", draft ? "preliminary: a draft, not signed" : Stages.Of(note));
        page.Append("</dl>\n");
        foreach (var part in note.Section)
            Section(page, part, [.. statements.Where(s => s.Part == part)]);
        page.Append("</main>\n</body>\n</html>\n");
        return page.ToString();
    }

    private static void Section(StringBuilder page, Composition.SectionComponent part, List<NoteStatement> statements)
    {
        var (title, id) = (Prose.Encode(part.Title ?? ""), Prose.Encode((part.Title ?? "").Replace(' ', '-')));
        page.Append($"<section aria-labelledby=\"{id}\">\n<h2 id=\"{id}\">{title}</h2>\n");
        if (statements.Count == 0)
            page.Append($"<p class=\"none\">{Prose.Encode(part.EmptyReason?.Text ?? "Nothing is recorded.")}</p>\n");
        else
        {
            page.Append("<ul>\n");
            foreach (var statement in statements)
                page.Append($"<li id=\"{Prose.Encode(statement.Id)}\" class=\"{statement.Kind}\"><p>{Prose.Encode(statement.Text + NoteText.Theirs(statement))}</p>\n").Append(Drafted(statement)).Append(Sources(statement)).Append("</li>\n");
            page.Append("</ul>\n");
        }
        page.Append("</section>\n");
    }

    /// <summary>What the software drafted stays visible where a clinician put other words, and what needs a look is said.</summary>
    private static string Drafted(NoteStatement statement) =>
        (statement.NeedsALook is { } why ? $"<p><strong>Needs a look.</strong> {Prose.Encode(why)}</p>\n" : "")
        + (statement.DraftedText is { } drafted ? $"<details><summary>Drafted text</summary>\n<p>{Prose.Encode(drafted)}</p></details>\n" : "");

    /// <summary>Folded, so that the note reads as a note; one step away, so that each word can be checked.</summary>
    private static string Sources(NoteStatement statement) => statement.Evidence.Count == 0 ? "" :
        $"<details><summary>{Wording.Count(statement.Evidence.Count, "source")}, rule {Prose.Encode(statement.Rule)}</summary>\n<ol>\n"
        + string.Concat(statement.Evidence.Select(a => $"<li><a href=\"/fhir/{Prose.Encode(a)}\">{Prose.Encode(a)}</a></li>\n"))
        + "</ol></details>\n";

    private static void Row(StringBuilder page, string name, string value) =>
        page.Append($"<dt>{name}</dt><dd>{Prose.Encode(value)}</dd>\n");

    private static string Day(string? day) => DateOnly.TryParse(day, out var date) ? Wording.Date(date) : "(no date)";

    /// <summary>
    /// Ink on paper: one column, one type, rules instead of boxes. The word DRAFT lies across every page, on screen and in
    /// print, behind the text; nothing is told by colour alone.
    /// </summary>
    public const string Stylesheet = """
        :root { color-scheme: light; }
        body { margin: 0; background: #fff; color: #1a1a1a; font: 1.05rem/1.55 Georgia, "Times New Roman", serif; }
        main { max-width: 44rem; margin: 0 auto; padding: 1.5rem 1.25rem 4rem; position: relative; }
        body.draft::before { content: "DRAFT"; position: fixed; inset: 0; display: grid; place-items: center; font: 700 26vmin/1 Arial, sans-serif;
          letter-spacing: .08em; color: #000; opacity: .06; transform: rotate(-28deg); pointer-events: none; }
        h1 { font-size: 1.5rem; line-height: 1.25; margin: 1.25rem 0 .75rem; }
        h2 { font-size: 1.15rem; margin: 2rem 0 .5rem; padding-bottom: .2rem; border-bottom: 1px solid #555; }
        .mark { border: 3px double #1a1a1a; padding: .6rem .8rem; margin: 0 0 1rem; }
        .mark strong { font-size: 1.3em; letter-spacing: .12em; margin-right: .4em; }
        .urgent { border: 4px solid #1a1a1a; padding: .2rem 1rem; margin: 0 0 1rem; }
        .urgent h2 { border: 0; margin: .6rem 0 0; }
        .urgent p { font-weight: 700; }
        dl { display: grid; grid-template-columns: max-content 1fr; gap: .15rem 1rem; margin: 0; }
        dt { color: #444; }
        dd { margin: 0; }
        ul { list-style: none; padding: 0; margin: 0; }
        ul > li { padding: .45rem 0; border-bottom: 1px dotted #999; }
        ul > li > p { margin: 0; }
        li.suggestion > p, li.caution > p { font-weight: 700; }
        li.gap > p { font-style: italic; }
        .none { color: #444; font-style: italic; }
        details { font: .85rem/1.5 Arial, sans-serif; color: #333; }
        summary { cursor: pointer; }
        details ol { margin: .2rem 0 .4rem; padding-left: 1.6rem; overflow-wrap: anywhere; }
        a { color: #14386b; }
        a:focus-visible, summary:focus-visible { outline: 3px solid #14386b; outline-offset: 2px; }
        @media print { main { max-width: none; padding: 0; } details { display: none; } section { break-inside: auto; } li { break-inside: avoid; } a { color: inherit; } }
        """;
}
