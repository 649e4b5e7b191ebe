using System.Text.RegularExpressions;
using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Validation.Checks;

/// <summary>No HTML tags in plain text: a receiver might render them. "Pain &lt;3" and "&lt;name&gt;" of no HTML element stay allowed.</summary>
internal sealed partial class MarkupInTextCheck : IResourceCheck
{
    public void Check(ResourceView view, IssueList issues)
    {
        foreach (var element in view.Elements)
        {
            var text = element.Value switch { FhirString s => s.Value, Markdown m => m.Value, _ => null };
            if (text is not null && text.Contains('<', StringComparison.Ordinal) && Tag().Match(text) is { Success: true } tag)
            {
                issues.Error(
                    OperationOutcome.IssueType.Security,
                    $"The text contains the HTML tag {tag.Value}; this element is plain text. Write it without the tag.",
                    element);
            }
        }
    }

    [GeneratedRegex(
        // The first group does something by itself; of the others only what is written as a tag is meant, not "a<b and c>d".
        @"</?(script|style|iframe|object|embed|form|input|button|textarea|select|link|meta|base|svg|math|img|image|video|audio|source|frame|frameset|applet|template)(\s[^<>]*)?/?>"
        + @"|</?(a|b|i|u|p|br|hr|div|span|table|tr|td|th|ul|ol|li|h[1-6]|html|head|body)(\s+[a-z:\-]+\s*=[^<>]*)?\s*/?>",
        RegexOptions.IgnoreCase | RegexOptions.ExplicitCapture, 250)]
    private static partial Regex Tag();
}
