using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Validation;

/// <summary>The issues of one validation, without repeats and up to a limit.</summary>
internal sealed class IssueList(int max)
{
    private readonly List<Issue> _issues = [];
    private readonly HashSet<(string, string)> _seen = [];

    public IReadOnlyList<Issue> Issues => _issues;

    public void Add(Issue issue)
    {
        if (_issues.Count < max && _seen.Add((issue.Expression, issue.Message)))
            _issues.Add(issue);
    }

    public void Error(OperationOutcome.IssueType code, string message, Element at, string? profile = null) =>
        Add(Issue.Error(code, message, at.Path, profile));
}

/// <summary>One thing the profile validator does not look at.</summary>
internal interface IResourceCheck
{
    void Check(ResourceView view, IssueList issues);
}
