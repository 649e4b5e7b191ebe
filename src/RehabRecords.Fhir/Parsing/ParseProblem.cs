using Hl7.Fhir.Model;
using Hl7.Fhir.Utility;

namespace RehabRecords.Fhir.Parsing;

/// <summary>Turns what the FHIR parser found into an issue with a place and a plain sentence.</summary>
internal static class ParseProblem
{
    public static Issue ToIssue(CodedException problem, string? resourceType)
    {
        if (problem is not ExtendedCodedException extended)
            return Issue.Error(OperationOutcome.IssueType.Structure, problem.Message);
        // The parser writes $this for the resource itself.
        var path = (extended.InstancePath ?? "").Replace("UnnamedResource_$this", "$this", StringComparison.Ordinal);
        if (path.StartsWith("$this", StringComparison.Ordinal))
            path = (resourceType ?? "") + path[5..];
        return new Issue(extended.IssueSeverity, extended.IssueType, extended.BaseErrorMessage.Replace("$this", resourceType ?? "the resource", StringComparison.Ordinal), path.TrimStart('.'));
    }
}
