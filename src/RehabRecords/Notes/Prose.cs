using System.Text;
using System.Text.Encodings.Web;
using System.Text.Unicode;
using Hl7.Fhir.Model;

namespace RehabRecords.Notes;

/// <summary>
/// The prose of a note as FHIR narrative: paragraphs and lists only, every word of it encoded, so that nothing a person
/// typed can become markup.
/// </summary>
internal static class Prose
{
    /// <summary>Stands in every part, since each may be shown alone.</summary>
    public const string DraftMark = "DRAFT. Written by software from recorded results; not checked by a clinician.";

    private static readonly HtmlEncoder Encoder = HtmlEncoder.Create(new TextEncoderSettings(UnicodeRanges.All));

    public static Narrative Of(string body) => new()
    {
        Status = Narrative.NarrativeStatus.Generated,
        Div = $"<div xmlns=\"http://www.w3.org/1999/xhtml\">{body}</div>",
    };

    public static Narrative Section(IReadOnlyList<Statement> statements, string whenEmpty)
    {
        var body = new StringBuilder($"<p><b>{Encode(DraftMark)}</b></p>");
        if (statements.Count == 0)
            body.Append(Paragraph(whenEmpty));
        else
            body.Append("<ul>").AppendJoin("", statements.Select(s => $"<li>{Encode(s.Text)}</li>")).Append("</ul>");
        return Of(body.ToString());
    }

    public static string Paragraph(string text) => $"<p>{Encode(text)}</p>";

    /// <summary>Control characters have no place in XML, not even escaped; they become spaces.</summary>
    public static string Encode(string text) =>
        Encoder.Encode(string.Concat(text.Select(c => char.IsControl(c) && c is not ('\n' or '\t') ? ' ' : c)));
}
