using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Validation.Checks;

/// <summary>The identities in a Bundle: fullUrl, id and links agree and are unique.</summary>
internal sealed class BundleEntriesCheck : IResourceCheck
{
    public void Check(ResourceView view, IssueList issues)
    {
        foreach (var (at, bundle) in view.All<Bundle>())
        {
            var relations = new HashSet<string>(StringComparer.Ordinal);
            foreach (var link in bundle.Link)
                if (link.Relation is "self" or "next" or "previous" or "first" or "last" && !relations.Add(link.Relation))
                    issues.Error(OperationOutcome.IssueType.Duplicate, $"The link {link.Relation} occurs twice; a Bundle has at most one.", at);

            var seen = new HashSet<string>(StringComparer.Ordinal);
            for (var i = 0; i < bundle.Entry.Count; i++)
                CheckEntry(bundle, bundle.Entry[i], $"{at.Path}.entry[{i}]", seen, issues);
        }
    }

    private static void CheckEntry(Bundle bundle, Bundle.EntryComponent entry, string path, HashSet<string> seen, IssueList issues)
    {
        void Error(OperationOutcome.IssueType code, string message, string where) => issues.Add(Issue.Error(code, message, path + where));

        if (bundle.Type == Bundle.BundleType.Searchset)
            CheckSearchEntry(entry, Error);
        if (entry.FullUrl is not { Length: > 0 } url)
            return;
        if (!Uri.TryCreate(url, UriKind.Absolute, out _) || !url.Contains(':', StringComparison.Ordinal))
        {
            Error(OperationOutcome.IssueType.Value, $"The fullUrl {url} is relative. Give the absolute address, or a urn:uuid.", ".fullUrl");
            return;
        }

        if (bundle.Type is not (Bundle.BundleType.History or Bundle.BundleType.BatchResponse or Bundle.BundleType.TransactionResponse)
            && !seen.Add(url + "|" + entry.Resource?.Meta?.VersionId))
        {
            Error(OperationOutcome.IssueType.Duplicate, $"The fullUrl {url} occurs twice. Every entry has its own.", ".fullUrl");
        }

        var address = LiteralReference.Of(url);
        if (address.Version is not null)
            Error(OperationOutcome.IssueType.Value, $"The fullUrl {url} names a version; it identifies the resource, not a version.", ".fullUrl");
        if (address.Type is null || entry.Resource is not { } resource || IsRequest(bundle))
            return;
        if (address.Type != resource.TypeName || address.Id != resource.Id)
        {
            Error(
                OperationOutcome.IssueType.Value,
                $"The fullUrl {url} does not agree with the resource, which is {resource.TypeName}/{resource.Id ?? "(no id)"}. Make both the same, or use a urn:uuid.",
                ".fullUrl");
        }
    }

    private static void CheckSearchEntry(Bundle.EntryComponent entry, Action<OperationOutcome.IssueType, string, string> error)
    {
        if (entry.Resource is not { } resource)
            return;
        var isOutcome = resource is OperationOutcome;
        if (!isOutcome && resource.Id is null)
            error(OperationOutcome.IssueType.Required, "A resource found by a search has an id.", ".resource");
        if (entry.Search?.Mode is { } mode && isOutcome != (mode == Bundle.SearchEntryMode.Outcome))
            error(OperationOutcome.IssueType.Value, $"An entry of mode {mode} cannot hold a {resource.TypeName}; mode outcome is for OperationOutcome only.", ".search.mode");
    }

    private static bool IsRequest(Bundle bundle) => bundle.Type is Bundle.BundleType.Transaction or Bundle.BundleType.Batch;
}
