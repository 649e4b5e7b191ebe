using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Validation.Checks;

/// <summary>References among the entries of a Bundle resolve by the rules of R4.</summary>
internal sealed class BundleReferencesCheck : IResourceCheck
{
    public void Check(ResourceView view, IssueList issues)
    {
        // A transaction may point at what the server has; a search result or history shows a part of the record.
        if (view.Entries is not { } entries
            || entries.Bundle.Type is not (Bundle.BundleType.Document or Bundle.BundleType.Collection or Bundle.BundleType.Message or Bundle.BundleType.Transaction))
        {
            return;
        }

        foreach (var (at, reference) in view.All<ResourceReference>())
        {
            if (reference.Reference is not { Length: > 0 } text)
                continue;
            var literal = LiteralReference.Of(text);
            if (literal.IsContained || literal.IsConditional || literal.IsUnreadable)
                continue;
            var (resolution, target) = entries.Resolve(literal, BundleEntries.FullUrlOf(at));
            if (Problem(entries, literal, resolution, target) is not var (code, message))
                continue;
            // Only a document is complete in itself and only a transaction is acted upon; elsewhere the receiver may know the target.
            var certain = entries.Bundle.Type is Bundle.BundleType.Document or Bundle.BundleType.Transaction || entries.OtherTypeOfSameUuid(literal) is not null;
            issues.Add(new Issue(certain ? OperationOutcome.IssueSeverity.Error : OperationOutcome.IssueSeverity.Warning, code, message, at.Path));
        }
    }

    private static (OperationOutcome.IssueType Code, string Message)? Problem(
        BundleEntries entries, LiteralReference literal, Resolution resolution, Resource? target)
    {
        var isTransaction = entries.Bundle.Type == Bundle.BundleType.Transaction;
        switch (resolution)
        {
            case Resolution.NotInBundle when literal.Text.StartsWith("urn:", StringComparison.Ordinal):
                return (OperationOutcome.IssueType.NotFound, $"The reference {literal.Text} names no entry of the Bundle.");
            case Resolution.OtherVersion when !isTransaction:
                return (OperationOutcome.IssueType.NotFound,
                    $"The reference {literal.Text} names version {literal.Version}; the Bundle holds version {target!.Meta?.VersionId ?? "(none)"} of it.");
            case Resolution.NoMeaning when entries.OtherTypeOfSameUuid(literal) is { } other:
                return (OperationOutcome.IssueType.Value, $"The reference {literal.Text} names a {literal.Type}, but the entry of that id is a {other.TypeName}.");
            case Resolution.NoMeaning when !isTransaction:
                return (OperationOutcome.IssueType.Value,
                    $"The reference {literal.Text} is relative, but the fullUrl of its entry is no server address, so it has no meaning. Use the fullUrl of the target.");
            default:
                return null;
        }
    }
}
