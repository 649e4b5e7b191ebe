using System.Text.RegularExpressions;
using System.Xml;
using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Parsing;

/// <summary>Reads the nodes of an XML body once before the FHIR parser, which recurses, sees it.</summary>
internal static partial class XmlPreScan
{
    private const string XhtmlNamespace = "http://www.w3.org/1999/xhtml";

    public static XmlReaderSettings Settings => new()
    {
        DtdProcessing = DtdProcessing.Prohibit,
        XmlResolver = null,
        MaxCharactersFromEntities = 1024,
        IgnoreComments = true,
        IgnoreProcessingInstructions = true,
        CheckCharacters = true,
    };

    /// <summary>Answers the values that look like numbers and would be written otherwise, by the path of their element.</summary>
    /// <exception cref="RefusedException">Malformed, or TooLarge for what is over a limit.</exception>
    public static IReadOnlyList<(string Path, string Value)> Check(ReadOnlyMemory<byte> body, ReadLimits limits)
    {
        using var reader = XmlReader.Create(Open(body), Settings);
        var path = new XmlPath();
        var numbers = new List<(string, string)>();
        var elements = 0L;
        try
        {
            while (reader.Read())
            {
                switch (reader.NodeType)
                {
                    case XmlNodeType.Element:
                        if (reader.Depth >= limits.MaxDepth)
                            throw Malformed($"The XML is nested deeper than {limits.MaxDepth} levels.", path, reader);
                        if (++elements > 1000 + (body.Length / limits.BytesPerElement))
                            throw TooLarge($"The body has more elements than a body of {body.Length} bytes may have. Leave out elements that say nothing.", path);
                        if (reader.AttributeCount > 32)
                            throw TooLarge("An element has more than 32 attributes; no element of FHIR has so many.", path);
                        path.Enter(reader.LocalName, reader.Depth);
                        if (path.Repeats > limits.MaxArrayLength)
                            throw TooLarge($"The element repeats more than {limits.MaxArrayLength} times. Send fewer at a time.", path);
                        if (reader.NamespaceURI != XhtmlNamespace && reader.GetAttribute("value") is { } value && Number().IsMatch(value)
                            && JsonNumber.WhyItWouldChange(value) is not null)
                        {
                            numbers.Add((path.ToString(), value));
                        }

                        break;
                    case XmlNodeType.Text or XmlNodeType.CDATA:
                        if (Characters.Refused(reader.Value) is { } message)
                            throw Malformed(message, path, reader);
                        break;
                }
            }
        }
        catch (XmlException e)
        {
            throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.Structure, Message(e), path.ToString());
        }

        return numbers;
    }

    public static Stream Open(ReadOnlyMemory<byte> body) =>
        System.Runtime.InteropServices.MemoryMarshal.TryGetArray(body, out var array)
            ? new MemoryStream(array.Array!, array.Offset, array.Count, writable: false)
            : new MemoryStream(body.ToArray(), writable: false);

    private static string Message(XmlException e)
    {
        var place = $" (line {e.LineNumber}, position {e.LinePosition})";
        return e.Message.Contains("DTD", StringComparison.Ordinal)
            ? "The XML has a document type declaration or entities of its own, which are not accepted. Write the characters themselves" + place + "."
            : $"The body is not well-formed XML{place}: {e.Message.Split(" Line ")[0]}";
    }

    private static RefusedException Malformed(string message, XmlPath path, XmlReader reader)
    {
        var line = reader as IXmlLineInfo;
        return new(Refusal.Malformed, OperationOutcome.IssueType.Structure, $"{message} (line {line?.LineNumber})", path.ToString());
    }

    private static RefusedException TooLarge(string message, XmlPath path) =>
        new(Refusal.TooLarge, OperationOutcome.IssueType.TooLong, message, path.ToString());

    [GeneratedRegex(@"^-?[0-9]+(\.[0-9]+)?([eE][+-]?[0-9]+)?$", RegexOptions.None, 250)]
    private static partial Regex Number();
}
