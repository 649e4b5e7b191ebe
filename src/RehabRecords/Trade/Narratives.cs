using System.Xml;
using System.Xml.Linq;
using Hl7.Fhir.Model;

namespace RehabRecords.Trade;

/// <summary>What a resource's narrative says, as lines of plain text.</summary>
internal static class Narratives
{
    private static readonly string[] Blocks = ["p", "li", "tr", "h1", "h2", "h3", "h4", "h5", "h6", "pre", "caption"];

    public static IReadOnlyList<string> Lines(DomainResource resource)
    {
        if (resource.Text?.Div is not { Length: > 0 } div)
            return [];
        XElement root;
        try
        {
            root = XElement.Parse(div);
        }
        catch (XmlException)
        {
            return [];
        }

        // The innermost blocks; whatever lies in none of them is one line by itself.
        var blocks = root.Descendants().Where(e => Blocks.Contains(e.Name.LocalName) && !e.Descendants().Any(d => Blocks.Contains(d.Name.LocalName))).ToList();
        var lines = (blocks.Count > 0 ? blocks : [root]).Select(e => string.Join(' ', e.Value.Split((char[]?)null, StringSplitOptions.RemoveEmptyEntries)));
        return [.. lines.Where(l => l.Length > 0)];
    }
}
