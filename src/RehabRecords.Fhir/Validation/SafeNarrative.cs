using System.Text.RegularExpressions;
using System.Xml;
using System.Xml.Linq;
using RehabRecords.Fhir.Parsing;

namespace RehabRecords.Fhir.Validation;

/// <summary>
/// What makes a narrative unsafe to show. An allow-list: elements and attributes of R4's XHTML subset, links a person may
/// follow (https, http, mailto, #), pictures that lie in the text itself. Nothing is taken out silently; it is refused.
/// </summary>
public static partial class SafeNarrative
{
    private const int MaxProblems = 20;
    private static readonly XNamespace Xhtml = "http://www.w3.org/1999/xhtml";

    private static readonly HashSet<string> Elements = new(
        ("p br div h1 h2 h3 h4 h5 h6 a span table caption col colgroup thead tbody tfoot tr th td code samp img map area ul ol li dl dt dd "
         + "b i em strong small sup sub big tt q var abbr acronym cite blockquote hr address bdo kbd dfn pre del ins").Split(' '), StringComparer.Ordinal);

    private static readonly HashSet<string> Attributes = new(
        ("title style class id lang dir accesskey tabindex span width align valign char charoff abbr axis headers scope rowspan colspan "
         + "href name hreflang rel rev charset type shape coords src alt longdesc height usemap ismap summary border frame rules cellspacing cellpadding "
         + "cite datetime xml:space nohref").Split(' '), StringComparer.Ordinal);

    /// <summary>The reasons why the div is refused, each naming what it found; empty for a safe one.</summary>
    public static IReadOnlyList<string> Problems(string div)
    {
        ArgumentNullException.ThrowIfNull(div);
        XElement root;
        try
        {
            using var reader = XmlReader.Create(new StringReader(div), XmlPreScan.Settings);
            if (TooDeep(div))
                return ["The narrative is nested too deep."];
            root = XElement.Load(reader, LoadOptions.PreserveWhitespace);
        }
        catch (XmlException e)
        {
            return [$"The narrative is not well-formed XHTML: {e.Message} Write characters themselves instead of HTML entities."];
        }

        var problems = new List<string>();
        if (root.Name != Xhtml + "div")
            problems.Add("The narrative is not one div of the XHTML namespace.");
        if (string.IsNullOrWhiteSpace(root.Value) && !root.Descendants(Xhtml + "img").Any())
            problems.Add("The narrative says nothing. Give text or leave the narrative out.");
        foreach (var element in root.DescendantsAndSelf())
        {
            Check(element, problems);
            if (problems.Count >= MaxProblems)
                break;
        }

        return problems;
    }

    private static bool TooDeep(string div)
    {
        using var reader = XmlReader.Create(new StringReader(div), XmlPreScan.Settings);
        while (reader.Read())
            if (reader.Depth >= ReadLimits.Default.MaxDepth)
                return true;
        return false;
    }

    private static void Check(XElement element, List<string> problems)
    {
        var name = element.Name.LocalName;
        if (element.Name.Namespace != Xhtml || !Elements.Contains(name))
        {
            problems.Add($"The narrative contains the element {name}, which FHIR narrative does not allow.");
            return;
        }

        foreach (var attribute in element.Attributes())
        {
            if (attribute.IsNamespaceDeclaration)
                continue;
            var attributeName = attribute.Name.Namespace == XNamespace.Xml ? "xml:" + attribute.Name.LocalName : attribute.Name.ToString();
            if (attributeName == "xml:lang")
                continue;
            if (!Attributes.Contains(attributeName))
                problems.Add($"The narrative contains the attribute {attributeName} on {name}, which FHIR narrative does not allow.");
            else if (!IsSafe(name, attributeName, attribute.Value))
                problems.Add($"The narrative contains {attributeName}=\"{Short(attribute.Value)}\" on {name}. {Remedy(attributeName)}");
        }
    }

    private static bool IsSafe(string element, string attribute, string value) => attribute switch
    {
        "src" => element == "img" && (value.StartsWith('#') || Picture().IsMatch(value)),
        "href" or "cite" or "longdesc" or "usemap" => Link().IsMatch(value) || RelativeLink().IsMatch(value),
        "style" => !UnsafeStyle().IsMatch(value) && !value.Contains('\\', StringComparison.Ordinal) && !value.Contains("/*", StringComparison.Ordinal),
        _ => true,
    };

    private static string Remedy(string attribute) => attribute switch
    {
        "src" => "A picture is a contained one (#id) or data of type PNG or JPEG.",
        "style" => "A style neither loads anything (url, @import) nor computes (expression), and has no escapes or comments.",
        _ => "A link is https, http, mailto, or a place in the text (#name).",
    };

    private static string Short(string value) => value.Length <= 60 ? value : value[..60] + "...";

    // A urn:uuid names an entry of the same Bundle, and no browser can follow it; a transaction puts the entry's address in its place.
    [GeneratedRegex(@"^(https?://[^\s]+|mailto:[^\s]+|#[^\s]*|urn:uuid:[0-9a-f-]{36})$", RegexOptions.IgnoreCase, 250)]
    private static partial Regex Link();

    // Type/id and the like: a browser can only reach this server with it.
    [GeneratedRegex(@"^[A-Za-z0-9][A-Za-z0-9\-._/]*(#[A-Za-z0-9\-._]*)?$", RegexOptions.None, 250)]
    private static partial Regex RelativeLink();

    [GeneratedRegex(@"^data:image/(png|jpeg);base64,[A-Za-z0-9+/=\s]+$", RegexOptions.None, 1000)]
    private static partial Regex Picture();

    [GeneratedRegex(@"url\s*\(|@import|expression\s*\(|javascript:|vbscript:|-moz-binding|behavior\s*:|image-set|cross-fade|position\s*:\s*(fixed|sticky)", RegexOptions.IgnoreCase, 250)]
    private static partial Regex UnsafeStyle();
}
