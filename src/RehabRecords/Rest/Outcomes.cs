using Hl7.Fhir.Model;
using RehabRecords.Fhir;

namespace RehabRecords.Rest;

/// <summary>An OperationOutcome as the answer.</summary>
internal sealed class OutcomeResult(int status, IReadOnlyList<Issue> issues) : IResult
{
    /// <summary>A hostile body can be wrong in a million places; a reader can use a hundred.</summary>
    public const int MostIssues = 100;

    // The same as in the text, for a program.
    private const string Authority = "http://hl7.org/fhir/StructureDefinition/operationoutcome-authority";

    public Task ExecuteAsync(HttpContext httpContext) => WriteAsync(httpContext, status, issues);

    public static Task WriteAsync(HttpContext context, int status, IReadOnlyList<Issue> issues)
    {
        var format = Negotiation.OrJson(context.Request);
        var bytes = format.Write(Outcome(issues));
        context.Response.StatusCode = status;
        return format.SendAsync(context, bytes);
    }

    public static OperationOutcome Outcome(IReadOnlyList<Issue> issues)
    {
        var outcome = new OperationOutcome();
        foreach (var issue in issues.Take(MostIssues))
            outcome.Issue.Add(Component(issue));
        if (issues.Count > MostIssues)
            outcome.Issue.Add(Component(new Issue(OperationOutcome.IssueSeverity.Information, OperationOutcome.IssueType.TooLong,
                $"{issues.Count - MostIssues} further issues are not shown. Correct these first.")));
        return outcome;
    }

    private static OperationOutcome.IssueComponent Component(Issue issue) => new()
    {
        Severity = issue.Severity,
        Code = issue.Code,
        Diagnostics = issue.Profile is null ? issue.Message : $"{issue.Message} (asked by {issue.Profile})",
        Expression = string.IsNullOrEmpty(issue.Expression) ? [] : [issue.Expression],
        Extension = issue.Profile is null ? [] : [new Extension(Authority, new FhirUri(issue.Profile))],
    };
}
