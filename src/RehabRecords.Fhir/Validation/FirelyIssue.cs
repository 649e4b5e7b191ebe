using System.Text.RegularExpressions;
using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Validation;

/// <summary>Turns an issue of the profile validator into ours: at the element it is about, with a sentence that says what to do.</summary>
internal static partial class FirelyIssue
{
    private const string Authority = "http://hl7.org/fhir/StructureDefinition/operationoutcome-authority";

    public static Issue ToIssue(OperationOutcome.IssueComponent issue)
    {
        var found = new Issue(
            issue.Severity ?? OperationOutcome.IssueSeverity.Error,
            issue.Code ?? OperationOutcome.IssueType.Invalid,
            issue.Details?.Text ?? issue.Diagnostics ?? "The element is not valid.",
            issue.Expression.FirstOrDefault() ?? "",
            issue.GetExtensionValue<FhirUri>(Authority)?.Value);
        return Missing(found) ?? Occurrence(found) ?? Slice(found) ?? found;
    }

    // The library reports these three at the element around; the one meant is named in the text only.
    private static Issue? Missing(Issue issue) => MissingText().Match(issue.Message) is { Success: true } m
        ? About(issue, m.Groups["name"].Value, OperationOutcome.IssueType.Required, $"{m.Groups["name"].Value} is missing; it is required here.")
        : null;

    private static Issue? Occurrence(Issue issue)
    {
        if (OccurrenceText().Match(issue.Message) is not { Success: true } m)
            return null;
        var (name, count, allowed) = (m.Groups["name"].Value, m.Groups["count"].Value, m.Groups["min"].Value + ".." + m.Groups["max"].Value);
        var tooFew = int.Parse(count) < int.Parse(m.Groups["min"].Value);
        return About(issue, name, tooFew ? OperationOutcome.IssueType.Required : OperationOutcome.IssueType.Structure,
            $"{name}{(m.Groups["slice"].Success ? $" '{m.Groups["slice"].Value}'" : "")} is there {(count == "1" ? "once" : $"{count} times")}; {allowed} are allowed. {(tooFew ? "Give what is missing." : "Leave out what is too much.")}");
    }

    private static Issue? Slice(Issue issue) => SliceText().Match(issue.Message) is { Success: true } m
        ? About(issue, m.Groups["name"].Value, OperationOutcome.IssueType.Required,
            $"No {m.Groups["name"].Value} is the one that the profile calls '{m.Groups["slice"].Value}' and requires. Give it, with the type or codes by which the profile knows it.")
        : null;

    private static Issue About(Issue issue, string name, OperationOutcome.IssueType code, string message) =>
        issue with { Code = code, Message = message, Expression = issue.Expression.Length == 0 ? name : $"{issue.Expression}.{name}" };

    [GeneratedRegex(@"^Missing required member: '(?<name>\w+)'( \(for slice [^)]+\))?$", RegexOptions.ExplicitCapture, 250)]
    private static partial Regex MissingText();

    [GeneratedRegex(@"^Instance count at element '(?<name>\w+)' is (?<count>\d+), which is not within the specified cardinality of (?<min>\d+)\.\.(?<max>\d+|\*)( \(for slice (?<slice>[^)]+)\))?$", RegexOptions.ExplicitCapture, 250)]
    private static partial Regex OccurrenceText();

    [GeneratedRegex(@"^No elements matched required slice: '(?<name>\w+):(?<slice>[^']+)'( \(for slice [^)]+\))?$", RegexOptions.ExplicitCapture, 250)]
    private static partial Regex SliceText();
}
