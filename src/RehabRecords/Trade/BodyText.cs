using System.ComponentModel.DataAnnotations;
using System.Text.Json;
using System.Text.Json.Serialization.Metadata;
using System.Text.RegularExpressions;
using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Validation;

namespace RehabRecords.Trade;

/// <summary>Turns the bytes of a request into its record, or says which field is at fault and what to send instead.</summary>
public static partial class BodyText
{
    private const int LongestShown = 40;

    private static readonly JsonDocumentOptions Strict = new() { MaxDepth = TradeJson.MaxDepth, AllowDuplicateProperties = false };

    public static T Read<T>(ReadOnlyMemory<byte> body)
    {
        if (body.IsEmpty)
            throw Refused("", "The body is empty; send one JSON object.");
        JsonDocument document;
        try
        {
            document = JsonDocument.Parse(body, Strict);
        }
        catch (JsonException e)
        {
            throw Refused("", $"The body is not readable JSON (line {e.LineNumber + 1}, byte {e.BytePositionInLine + 1}): {Reason(e)} Send one complete JSON object in UTF-8.");
        }
        catch (InvalidOperationException)
        {
            // Half of a character, escaped in a name: the reader meets it when it compares names, not when it reads them.
            throw BrokenName("");
        }

        using (document)
        {
            if (document.RootElement.ValueKind != JsonValueKind.Object)
                throw Refused("", $"The body is {Shown(document.RootElement)}; send one JSON object in {{ }}.");
            CheckTexts(document.RootElement, "");
            try
            {
                return document.Deserialize<T>(TradeJson.Options)!;
            }
            catch (JsonException e)
            {
                throw Explained(document.RootElement, typeof(T), e);
            }
        }
    }

    /// <summary>Control characters cannot be held in FHIR text, and an empty place in a list means nothing.</summary>
    private static void CheckTexts(JsonElement element, string path)
    {
        switch (element.ValueKind)
        {
            case JsonValueKind.Object:
                foreach (var member in element.EnumerateObject())
                    CheckTexts(member.Value, Inside(path, member));
                break;
            case JsonValueKind.Array:
                var i = 0;
                foreach (var item in element.EnumerateArray())
                {
                    if (item.ValueKind == JsonValueKind.Null)
                        throw Refused($"{path}[{i}]", $"{path}[{i}] is null; leave the entry out of the list.");
                    CheckTexts(item, $"{path}[{i++}]");
                }

                break;
            case JsonValueKind.String:
                CheckText(element, path);
                break;
        }
    }

    private static string Inside(string path, JsonProperty member)
    {
        try
        {
            return path.Length == 0 ? member.Name : $"{path}.{member.Name}";
        }
        catch (InvalidOperationException)
        {
            throw BrokenName(path);
        }
    }

    private static void CheckText(JsonElement element, string path)
    {
        string text;
        try
        {
            text = element.GetString()!;
        }
        catch (InvalidOperationException)
        {
            throw Refused(path, $"{path} is not valid UTF-8 text; send whole characters.");
        }

        CheckText(text, path);
    }

    /// <summary>The same for a field of a form.</summary>
    public static void CheckText(string text, string path)
    {
        if (PlainText.HtmlTagIn(text) is { } tag)
            throw new RefusedException(Refusal.Invalid, OperationOutcome.IssueType.Security, $"{path} contains the HTML tag {tag}; it is plain text. Write it without the tag.", path);
        var at = text.AsSpan().IndexOfAnyInRange('\0', '\u001F');
        while (at >= 0 && text[at] is '\t' or '\n' or '\r')
        {
            var next = text.AsSpan(at + 1).IndexOfAnyInRange('\0', '\u001F');
            at = next < 0 ? -1 : at + 1 + next;
        }

        if (at >= 0)
            throw Refused(path, $"{path} holds the control character U+{(int)text[at]:X4} at place {at + 1}; only tab and line ends are allowed. Remove it.");
    }

    private static RefusedException Explained(JsonElement root, Type type, JsonException e)
    {
        var said = e.Path ?? "$";
        var path = Step().Replace(said[1..], step => step.Groups["index"].Success ? step.Value : $".{step.Groups["name"].Value}").TrimStart('.');
        var (element, parent, expected, property) = Follow(root, type, said);
        // Nothing stands there either when a name is so odd that the path of the error can be read in two ways.
        if (parent is not null && (property is null || element.ValueKind == JsonValueKind.Undefined))
        {
            var fields = string.Join(", ", parent.Properties.Select(p => p.Name));
            return Refused(path, $"'{path}' is not a field of this request. The fields here are: {fields}. Correct the name or leave it out.");
        }

        return Refused(path, $"{(path.Length == 0 ? "The body" : path)} is {Shown(element)}; send {Wanted(expected, property)}.");
    }

    /// <summary>Walks the path over the body and over the type at once; stops where either ends.</summary>
    private static (JsonElement Element, JsonTypeInfo? Parent, Type Expected, JsonPropertyInfo? Property) Follow(JsonElement root, Type type, string path)
    {
        var (element, expected) = (root, type);
        JsonTypeInfo? parent = null;
        JsonPropertyInfo? property = null;
        foreach (Match step in Step().Matches(path))
        {
            var info = TradeJson.Options.GetTypeInfo(expected);
            if (step.Groups["index"].Success)
            {
                if (element.ValueKind != JsonValueKind.Array)
                    return (default, parent ?? info, expected, null);
                (element, expected) = (element[int.Parse(step.Groups["index"].ValueSpan)], info.ElementType ?? expected);
                continue;
            }

            parent = info;
            property = info.Properties.FirstOrDefault(p => p.Name == step.Groups["name"].Value);
            if (element.ValueKind != JsonValueKind.Object || !element.TryGetProperty(step.Groups["name"].Value, out element))
                break;
            if (info.Kind == JsonTypeInfoKind.Dictionary)
            {
                (parent, expected) = (null, info.ElementType!);
                continue;
            }

            if (property is null)
                break;
            expected = property.PropertyType;
        }

        return (element, parent, expected, property);
    }

    private static string Wanted(Type type, JsonPropertyInfo? property)
    {
        var kind = Nullable.GetUnderlyingType(type) ?? type;
        var range = property?.AttributeProvider?.GetCustomAttributes(typeof(RangeAttribute), true).OfType<RangeAttribute>().FirstOrDefault();
        var within = range is null ? "" : $" from {range.Minimum} to {range.Maximum}";
        if (kind == typeof(int))
            return $"a whole number{within}, without quotes, fraction or exponent";
        if (kind == typeof(decimal))
            return $"a number{within}, without quotes";
        if (kind == typeof(bool))
            return "true or false, without quotes";
        if (kind == typeof(DateOnly))
            return "a date such as \"2026-06-01\"";
        if (kind == typeof(DateTimeOffset))
            return "a date and time with its offset, such as \"2026-06-01T09:30:00+01:00\"";
        if (kind == typeof(string))
            return "a text in quotes";
        return typeof(System.Collections.IEnumerable).IsAssignableFrom(kind) && TradeJson.Options.GetTypeInfo(kind).Kind == JsonTypeInfoKind.Enumerable
            ? "a list in [ ]"
            : "an object in { }";
    }

    private static RefusedException BrokenName(string path) =>
        Refused(path, $"{(path.Length == 0 ? "The body" : path)} has a field whose name is not valid UTF-8 text; send whole characters.");

    private static string Shown(JsonElement element)
    {
        var raw = element.GetRawText();
        return raw.Length <= LongestShown ? raw : raw[..LongestShown] + "…";
    }

    private static string Reason(JsonException e)
    {
        var end = e.Message.IndexOf(" LineNumber:", StringComparison.Ordinal);
        return end < 0 ? e.Message : e.Message[..end];
    }

    private static RefusedException Refused(string field, string message) =>
        new(Refusal.Malformed, OperationOutcome.IssueType.Structure, message, field);

    [GeneratedRegex(@"\[(?<index>\d+)\]|\['(?<name>.*?)'\](?=[.\[]|$)|\.(?<name>[^.\[]+)", RegexOptions.Singleline)]
    private static partial Regex Step();
}
