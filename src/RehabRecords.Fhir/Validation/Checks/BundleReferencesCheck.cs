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

        var isTransaction = entries.Bundle.Type == Bundle.BundleType.Transaction;
        foreach (var (at, reference) in view.All<ResourceReference>())
        {
            if (reference.Reference is not { Length: > 0 } text)
                continue;
            var literal = LiteralReference.Of(text);
            if (literal.IsContained || literal.IsConditional || literal.IsUnreadable)
                continue;
            var (resolution, target) = entries.Resolve(literal, BundleEntries.FullUrlOf(at));
            if (resolution == Resolution.NotInBundle && literal.Text.StartsWith("urn:", StringComparison.Ordinal))
            {
                issues.Error(OperationOutcome.IssueType.NotFound, $"The reference {text} names no entry of the Bundle.", at);
            }
            else if (resolution == Resolution.OtherVersion && !isTransaction)
            {
                issues.Error(
                    OperationOutcome.IssueType.NotFound,
                    $"The reference {text} names version {literal.Version}; the Bundle holds version {target!.Meta?.VersionId ?? "(none)"} of it.",
                    at);
            }
            else if (resolution == Resolution.NoMeaning && !isTransaction)
            {
                issues.Error(
                    OperationOutcome.IssueType.Value,
                    $"The reference {text} is relative, but the fullUrl of its entry is no server address, so it has no meaning. Use the fullUrl of the target.",
                    at);
            }
        }
    }
}
