using Hl7.Fhir.Model;
using Hl7.Fhir.Utility;

namespace RehabRecords.Fhir.Parsing;

/// <summary>Turns what the FHIR parser found into an issue with a place and a plain sentence.</summary>
internal static class ParseProblem
{
    public static Issue ToIssue(CodedException problem)
    {
        if (problem is not ExtendedCodedException extended)
            return Issue.Error(OperationOutcome.IssueType.Structure, problem.Message);
        var message = string.IsNullOrEmpty(extended.Display) ? extended.BaseErrorMessage : extended.Display;
        return new Issue(extended.IssueSeverity, extended.IssueType, message, extended.InstancePath ?? "");
    }
}
