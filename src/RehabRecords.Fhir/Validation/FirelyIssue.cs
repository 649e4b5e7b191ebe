using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Validation;

/// <summary>Turns an issue of the profile validator into ours.</summary>
internal static class FirelyIssue
{
    private const string Authority = "http://hl7.org/fhir/StructureDefinition/operationoutcome-authority";

    public static Issue ToIssue(OperationOutcome.IssueComponent issue)
    {
        var profile = issue.GetExtensionValue<FhirUri>(Authority)?.Value;
        return new Issue(
            issue.Severity ?? OperationOutcome.IssueSeverity.Error,
            issue.Code ?? OperationOutcome.IssueType.Invalid,
            issue.Details?.Text ?? issue.Diagnostics ?? "The element is not valid.",
            issue.Expression.FirstOrDefault() ?? "",
            profile);
    }
}
