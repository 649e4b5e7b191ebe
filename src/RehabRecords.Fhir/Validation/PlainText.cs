using System.Text.RegularExpressions;

namespace RehabRecords.Fhir.Validation;

/// <summary>Text that is read as text: it may say "pain &lt;3", but holds no HTML that a receiver might render.</summary>
public static partial class PlainText
{
    /// <summary>The first HTML tag in a text, or null.</summary>
    public static string? HtmlTagIn(string text)
    {
        ArgumentNullException.ThrowIfNull(text);
        return text.Contains('<', StringComparison.Ordinal) && Tag().Match(text) is { Success: true } tag ? tag.Value : null;
    }

    [GeneratedRegex(
        // The first group does something by itself; of the others only what is written as a tag is meant, not "a<b and c>d".
        @"</?(script|style|iframe|object|embed|form|input|button|textarea|select|link|meta|base|svg|math|img|image|video|audio|source|frame|frameset|applet|template)(\s[^<>]*)?/?>"
        + @"|</?(a|b|i|u|p|br|hr|div|span|table|tr|td|th|ul|ol|li|h[1-6]|html|head|body)(\s+[a-z:\-]+\s*=[^<>]*)?\s*/?>",
        RegexOptions.IgnoreCase | RegexOptions.ExplicitCapture, 250)]
    private static partial Regex Tag();
}
