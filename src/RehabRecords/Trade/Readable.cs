using System.Xml.Linq;
using Hl7.Fhir.Model;

namespace RehabRecords.Trade;

/// <summary>Generated narrative: what a reader without our extensions sees. Text goes in as text, never as markup.</summary>
public static class Readable
{
    private static readonly XNamespace Xhtml = "http://www.w3.org/1999/xhtml";

    /// <summary>One paragraph per line; empty lines are left out.</summary>
    public static Narrative Of(params IEnumerable<string?> lines) => new()
    {
        Status = Narrative.NarrativeStatus.Generated,
        Div = new XElement(Xhtml + "div", lines.Where(l => !string.IsNullOrWhiteSpace(l)).Select(l => new XElement(Xhtml + "p", l)))
            .ToString(SaveOptions.DisableFormatting),
    };
}
