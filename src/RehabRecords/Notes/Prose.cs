using System.Text.Encodings.Web;
using System.Text.Unicode;
using System.Xml;
using System.Xml.Linq;
using Hl7.Fhir.Model;

namespace RehabRecords.Notes;

/// <summary>
/// The prose of a note as FHIR narrative: paragraphs only, every word of it encoded, so that nothing a person
/// typed can become markup.
/// </summary>
internal static class Prose
{
    /// <summary>Stands in each of the four parts, since each may be shown alone.</summary>
    public const string DraftMark = "DRAFT. Written by software from recorded results; not checked by a clinician.";

    private static readonly HtmlEncoder Encoder = HtmlEncoder.Create(new TextEncoderSettings(UnicodeRanges.All));

    public static Narrative Of(string body) => new()
    {
        Status = Narrative.NarrativeStatus.Generated,
        Div = $"<div xmlns=\"http://www.w3.org/1999/xhtml\">{body}</div>",
    };

    /// <summary>The mark of a draft, and what is to be said below it.</summary>
    public static Narrative Marked(string text = "") =>
        Of($"<p><b>{Encode(DraftMark)}</b></p>" + (text.Length == 0 ? "" : Paragraph(text)));

    /// <summary>The words of a narrative without its markup.</summary>
    public static string Words(string div)
    {
        // A character that XML does not allow is a character of the sentence all the same.
        using var reader = XmlReader.Create(new StringReader(div), new XmlReaderSettings { CheckCharacters = false, DtdProcessing = DtdProcessing.Prohibit });
        return XElement.Load(reader, LoadOptions.PreserveWhitespace).Value;
    }

    public static string Paragraph(string text) => $"<p>{Encode(text)}</p>";

    /// <summary>Control characters have no place in XML, not even escaped; they become spaces.</summary>
    public static string Encode(string text) =>
        Encoder.Encode(string.Concat(text.Select(c => char.IsControl(c) && c is not ('\n' or '\t') ? ' ' : c)));
}
