using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Validation;

/// <summary>
/// Whether issues refuse a write, and with which status. What breaks R4 itself (it cannot be parsed, an element is missing
/// or has no allowed value, an invariant of R4 fails) is Malformed, 400. What R4 allows but a profile, the rules of the
/// record or the state of the record forbid is Invalid, 422. One issue of the first kind makes the whole 400.
/// </summary>
public static class Verdict
{
    /// <summary>The exception to throw, or null when nothing refuses.</summary>
    public static RefusedException? Of(IReadOnlyList<Issue> issues)
    {
        ArgumentNullException.ThrowIfNull(issues);
        var refusing = issues.Where(i => i.Refuses).ToList();
        if (refusing.Count == 0)
            return null;
        var refusal = refusing.Any(BreaksR4) ? Refusal.Malformed : Refusal.Invalid;
        return new RefusedException(refusal, [.. refusing, .. issues.Where(i => !i.Refuses)]);
    }

    private static bool BreaksR4(Issue issue) => issue.Profile is null && issue.Code is
        OperationOutcome.IssueType.Structure or OperationOutcome.IssueType.Required or OperationOutcome.IssueType.Value
        or OperationOutcome.IssueType.Invariant or OperationOutcome.IssueType.Invalid or OperationOutcome.IssueType.CodeInvalid
        or OperationOutcome.IssueType.TooLong or OperationOutcome.IssueType.Duplicate;
}
