using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Validation.Checks;

/// <summary>No HTML tags in plain text: a receiver might render them. "Pain &lt;3" and "&lt;name&gt;" of no HTML element stay allowed.</summary>
internal sealed class MarkupInTextCheck : IResourceCheck
{
    public void Check(ResourceView view, IssueList issues)
    {
        foreach (var element in view.Elements)
        {
            var text = element.Value switch { FhirString s => s.Value, Markdown m => m.Value, _ => null };
            if (text is not null && PlainText.HtmlTagIn(text) is { } tag)
            {
                issues.Error(
                    OperationOutcome.IssueType.Security,
                    $"The text contains the HTML tag {tag}; this element is plain text. Write it without the tag.",
                    element);
            }
        }
    }
}
