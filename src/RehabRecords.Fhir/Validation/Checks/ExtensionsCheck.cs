using System.Collections.Concurrent;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Definitions;

namespace RehabRecords.Fhir.Validation.Checks;

/// <summary>Extensions have an absolute url, and one that may change the meaning of what it is on is never ignored.</summary>
internal sealed class ExtensionsCheck(DefinitionsPack pack, bool refuseUnknown) : IResourceCheck
{
    private readonly ConcurrentDictionary<string, IReadOnlySet<string>> _inner = new(StringComparer.Ordinal);

    public void Check(ResourceView view, IssueList issues)
    {
        foreach (var (at, extension) in view.All<Extension>())
        {
            var url = extension.Url;
            if (string.IsNullOrEmpty(url))
                continue; // A missing url is reported by R4 itself.
            if (at.Parent?.Value is Extension)
                CheckInner(at, url, issues);
            else
                CheckOuter(at, url, issues);
        }
    }

    private void CheckOuter(Element at, string url, IssueList issues)
    {
        if (!Uri.TryCreate(url, UriKind.Absolute, out _) || !url.Contains(':', StringComparison.Ordinal))
        {
            issues.Error(OperationOutcome.IssueType.Value, $"The extension url {url} is not absolute. Give the full address of its definition.", at);
            return;
        }

        if (pack.EntryOf(url) is { Of: "Extension" })
            return;
        if (at.Name == "modifierExtension")
        {
            issues.Error(
                OperationOutcome.IssueType.NotSupported,
                $"Unknown modifier extension {url}: it may change the meaning of the element, so the element cannot be accepted. Send it without, if that is safe.",
                at);
        }
        else if (refuseUnknown)
        {
            issues.Error(
                OperationOutcome.IssueType.NotSupported,
                $"Unknown extension {url}: it would be stored without being checked. Leave it out, or use one listed in /fhir/metadata.",
                at);
        }
    }

    private void CheckInner(Element at, string url, IssueList issues)
    {
        if (url.Contains(':', StringComparison.Ordinal))
        {
            CheckOuter(at, url, issues);
            return;
        }

        var definition = ReferenceTargets.ExtensionDefinition(at);
        if (definition is null || pack.EntryOf(definition) is not { Of: "Extension" } entry)
            return;
        var known = _inner.GetOrAdd(entry.Url, InnerUrls);
        if (!known.Contains(url))
        {
            issues.Error(
                OperationOutcome.IssueType.Value,
                $"The extension {definition} has no part named {url}; it has {(known.Count == 0 ? "no parts" : string.Join(", ", known.Order(StringComparer.Ordinal)))}.",
                at);
        }
    }

    private HashSet<string> InnerUrls(string definition) =>
        (pack.Find<StructureDefinition>(definition)?.Snapshot?.Element ?? [])
        .Where(e => e.Path!.EndsWith(".extension.url", StringComparison.Ordinal))
        .Select(e => (e.Fixed as FhirUri)?.Value).OfType<string>().ToHashSet(StringComparer.Ordinal);
}
