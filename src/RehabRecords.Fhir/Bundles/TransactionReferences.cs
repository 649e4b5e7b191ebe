using System.Net;
using System.Text.RegularExpressions;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Search;

namespace RehabRecords.Fhir.Bundles;

/// <summary>What an entry's fullUrl stands for once the transaction is done.</summary>
internal sealed record Target(string Type, string Id, int Version)
{
    public string Address => $"{Type}/{Id}";
}

/// <summary>
/// Puts the addresses in our store where the entries of a transaction named each other: references, uri, url, oid and
/// uuid elements, and links in the narrative. Canonicals stay, being names and not places; a reference to a version
/// stays a reference to a version.
/// </summary>
internal sealed partial class TransactionReferences(
    IReadOnlyDictionary<string, Target> byFullUrl, IReadOnlyDictionary<string, string> byCondition, string? ownBase)
{
    /// <summary>The conditional references in a resource, as <c>Patient?identifier=…</c>, each with where it stands.</summary>
    public static IEnumerable<(string Reference, string Path)> Conditions(Resource resource, string path) =>
        from element in Walk(resource, path)
        where element.Element is ResourceReference
        let reference = ((ResourceReference)element.Element).Reference
        where reference is not null && ConditionalReference().IsMatch(reference)
        select (reference, element.Path + ".reference");

    /// <summary>Rewrites in place; adds an issue for every name that no entry bears.</summary>
    public void Rewrite(Resource resource, string? fullUrl, string path, List<Issue> issues)
    {
        var root = RootOf(fullUrl);
        foreach (var (element, at) in Walk(resource, path))
        {
            switch (element)
            {
                case ResourceReference { Reference: { Length: > 0 } reference } found when !reference.StartsWith('#'):
                    found.Reference = Rewritten(reference, root, at + ".reference", issues);
                    break;
                // A canonical is its own type in the model and so is left alone here.
                case FhirUri { Value: { Length: > 0 } uri } found when Find(uri) is { } address:
                    found.Value = address;
                    break;
                case FhirUrl { Value: { Length: > 0 } url } found when Find(url) is { } address:
                    found.Value = address;
                    break;
                case Oid { Value: { Length: > 0 } oid } found when Find(oid) is { } address:
                    found.Value = address;
                    break;
                case Uuid { Value: { Length: > 0 } uuid } found when Find(uuid) is { } address:
                    found.Value = address;
                    break;
                case Narrative { Div: { Length: > 0 } div } found:
                    found.Div = Links().Replace(div, link =>
                        Find(WebUtility.HtmlDecode(link.Groups["url"].Value)) is { } address
                            ? $"{link.Groups["name"].Value}={link.Groups["quote"].Value}{address}{link.Groups["quote"].Value}"
                            : link.Value);
                    break;
            }
        }
    }

    /// <summary>What a reference in an entry of this fullUrl comes to, before it is rewritten; null for the name of an entry that is not there.</summary>
    public string? AddressOf(string reference, string? fullUrl)
    {
        var issues = new List<Issue>();
        var address = Rewritten(reference, RootOf(fullUrl), "", issues);
        return issues.Count > 0 ? null : ReferenceTypes.WithoutBase(address, ownBase);
    }

    private string Rewritten(string reference, string? root, string path, List<Issue> issues)
    {
        if (byCondition.TryGetValue(reference, out var met))
            return met;
        if (Find(reference) is { } address)
            return address;
        if (reference.StartsWith("urn:", StringComparison.Ordinal))
        {
            issues.Add(Issue.Error(OperationOutcome.IssueType.NotFound, $"'{reference}' is the fullUrl of no entry of this Bundle. Add that entry or correct the reference.", path));
        }
        else if (root is not null && root != ownBase && RelativeReference().IsMatch(reference))
        {
            // In an entry that comes from elsewhere, "Patient/1" is the other place's Patient/1, never ours.
            if (Find($"{root}/{reference}") is { } theirs)
                return theirs;
            issues.Add(Issue.Error(OperationOutcome.IssueType.NotFound,
                $"'{reference}' stands for {root}/{reference}, which is no entry of this Bundle. Add that entry, or name a resource of this service by {ownBase}/{reference}.", path));
        }
        return reference;
    }

    private string? Find(string url)
    {
        var hash = url.IndexOf('#', StringComparison.Ordinal);
        var (bare, fragment) = hash < 0 ? (url, "") : (url[..hash], url[hash..]);
        if (byFullUrl.TryGetValue(bare, out var target))
            return target.Address + fragment;
        var history = bare.IndexOf("/_history/", StringComparison.Ordinal);
        return history > 0 && byFullUrl.TryGetValue(bare[..history], out target)
            ? $"{target.Address}/_history/{target.Version}{fragment}"
            : null;
    }

    private static string? RootOf(string? fullUrl) =>
        fullUrl is not null && RestAddress().Match(fullUrl) is { Success: true } match ? match.Groups["root"].Value : null;

    private static IEnumerable<(Base Element, string Path)> Walk(Base parent, string path)
    {
        yield return (parent, path);
        // The entries of a Bundle that is stored as a document name each other; that is their own affair.
        if (parent is Bundle)
            yield break;
        foreach (var (name, value) in parent.EnumerateElements())
        {
            if (value is Base child)
            {
                foreach (var found in Walk(child, $"{path}.{name}"))
                    yield return found;
            }
            else if (value is IEnumerable<Base> children)
            {
                var index = 0;
                foreach (var item in children)
                {
                    foreach (var found in Walk(item, $"{path}.{name}[{index}]"))
                        yield return found;
                    index++;
                }
            }
        }
    }

    [GeneratedRegex(@"^[A-Z][A-Za-z]{1,63}\?")]
    private static partial Regex ConditionalReference();

    [GeneratedRegex(@"^[A-Z][A-Za-z]{1,63}/[A-Za-z0-9\-.]{1,64}(/_history/[A-Za-z0-9\-.]{1,64})?$")]
    private static partial Regex RelativeReference();

    [GeneratedRegex(@"^(?<root>https?://.+?)/[A-Z][A-Za-z]{1,63}/[A-Za-z0-9\-.]{1,64}$")]
    private static partial Regex RestAddress();

    [GeneratedRegex("""(?<name>\b(?:href|src)\s*)=\s*(?<quote>["'])(?<url>[^"'<>]*)\k<quote>""")]
    private static partial Regex Links();
}
