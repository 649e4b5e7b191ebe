using System.Runtime.CompilerServices;
using System.Text.RegularExpressions;
using System.Xml;
using System.Xml.Linq;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Parsing;

namespace RehabRecords.Fhir.Validation;

/// <summary>Why a narrative is refused.</summary>
/// <param name="Message">What was found, and what to do.</param>
/// <param name="BreaksR4">True when it is not the XHTML that R4 allows; false when R4 allows it, but it is not safe to show.</param>
public sealed record NarrativeProblem(string Message, bool BreaksR4)
{
    internal Issue At(string expression) =>
        Issue.Error(BreaksR4 ? OperationOutcome.IssueType.Structure : OperationOutcome.IssueType.Security, Message, expression);
}

/// <summary>
/// What makes a narrative unsafe to show. An allow-list: elements and attributes of R4's XHTML subset, links a person may
/// follow (https, http, mailto, #) or a transaction turns into one (urn:uuid), pictures that lie in the text itself. Nothing is taken out silently; it is refused.
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

    private static readonly object Seen = new();

    // The reader looks at a narrative before the validator does. It is the very same text then, known by its place in memory.
    private static readonly ConditionalWeakTable<string, object> Safe = new();

    /// <summary>The reasons why the div is refused, each naming what it found; empty for a safe one.</summary>
    public static IReadOnlyList<NarrativeProblem> Problems(string div)
    {
        ArgumentNullException.ThrowIfNull(div);
        if (Safe.TryGetValue(div, out _))
            return [];
        var problems = Find(div);
        if (problems.Count == 0)
            Safe.TryAdd(div, Seen);
        return problems;
    }

    private static List<NarrativeProblem> Find(string div)
    {
        XElement root;
        try
        {
            using var reader = XmlReader.Create(new StringReader(div), XmlPreScan.Settings);
            if (TooDeep(div))
                return [new("The narrative is nested too deep.", true)];
            root = XElement.Load(reader, LoadOptions.PreserveWhitespace);
        }
        catch (XmlException e)
        {
            return [new($"The narrative is not well-formed XHTML: {e.Message} Write characters themselves instead of HTML entities.", true)];
        }

        var problems = new List<NarrativeProblem>();
        if (root.Name != Xhtml + "div")
            problems.Add(new("The narrative is not one div of the XHTML namespace.", true));
        if (string.IsNullOrWhiteSpace(root.Value) && !root.Descendants(Xhtml + "img").Any())
            problems.Add(new("The narrative says nothing. Give text or leave the narrative out.", true));
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

    private static void Check(XElement element, List<NarrativeProblem> problems)
    {
        var name = element.Name.LocalName;
        if (element.Name.Namespace != Xhtml || !Elements.Contains(name))
        {
            problems.Add(new($"The narrative contains the element {name}, which FHIR narrative does not allow.", true));
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
                problems.Add(new($"The narrative contains the attribute {attributeName} on {name}, which FHIR narrative does not allow.", true));
            else if (!IsSafe(name, attributeName, attribute.Value))
                problems.Add(new($"The narrative contains {attributeName}=\"{Short(attribute.Value)}\" on {name}. {Remedy(attributeName)}", false));
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
        _ => "A link is https, http, mailto, tel, or a place in the text (#name).",
    };

    private static string Short(string value) => value.Length <= 60 ? value : value[..60] + "...";

    // A urn:uuid names an entry of the same Bundle, and no browser can follow it; a transaction puts the entry's address in its place.
    [GeneratedRegex(@"^(https?://[^\s]+|mailto:[^\s]+|tel:[0-9+().\- ]+|#[^\s]*|urn:uuid:[0-9a-f-]{36})$", RegexOptions.IgnoreCase, 250)]
    private static partial Regex Link();

    // Type/id and the like: a browser can only reach this server with it.
    [GeneratedRegex(@"^[A-Za-z0-9][A-Za-z0-9\-._/]*(#[A-Za-z0-9\-._]*)?$", RegexOptions.None, 250)]
    private static partial Regex RelativeLink();

    [GeneratedRegex(@"^data:image/(png|jpeg);base64,[A-Za-z0-9+/=\s]+$", RegexOptions.None, 1000)]
    private static partial Regex Picture();

    [GeneratedRegex(@"url\s*\(|@import|expression\s*\(|javascript:|vbscript:|-moz-binding|behavior\s*:|image-set|cross-fade|position\s*:\s*(fixed|sticky)", RegexOptions.IgnoreCase, 250)]
    private static partial Regex UnsafeStyle();
}
