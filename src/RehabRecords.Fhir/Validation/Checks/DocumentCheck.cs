using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Validation.Checks;

/// <summary>A document holds what its Composition relies on, and nothing that has no part in it (R4, documents).</summary>
internal sealed class DocumentCheck : IResourceCheck
{
    // The references of a Composition that a document "SHALL include".
    private static readonly HashSet<string> MustBeIncluded = new(StringComparer.Ordinal)
    {
        "Composition.subject", "Composition.encounter", "Composition.author", "Composition.attester.party", "Composition.custodian",
        "Composition.event.detail", "Composition.section.author", "Composition.section.focus", "Composition.section.entry",
    };

    public void Check(ResourceView view, IssueList issues)
    {
        if (view.Entries is not { Bundle.Type: Bundle.BundleType.Document } entries || entries.Bundle.Entry.FirstOrDefault()?.Resource is not Composition composition)
            return;

        var references = view.All<ResourceReference>().Where(r => r.Value.Reference is { Length: > 0 })
            .Select(r => (r.At, r.Value, Entry: EntryOf(r.At), Target: entries.Resolve(LiteralReference.Of(r.Value.Reference!), BundleEntries.FullUrlOf(r.At)).Target))
            .ToList();
        foreach (var (at, reference, entry, target) in references)
        {
            if (entry == composition && target is null && MustBeIncluded.Contains(at.DefinedAt) && !reference.Reference!.StartsWith('#'))
                issues.Error(OperationOutcome.IssueType.NotFound, $"The document does not hold {reference.Reference}, which its Composition relies on. Add the entry.", at);
        }

        CheckNothingLeftOver(entries.Bundle, composition, references.Select(r => (r.Entry, r.Target)).ToList(), issues);
        CheckDates(composition, issues);
    }

    private static void CheckNothingLeftOver(Bundle document, Composition composition, List<(Resource? From, Resource? To)> links, IssueList issues)
    {
        var reached = new HashSet<Resource>(ReferenceEqualityComparer.Instance) { composition };
        var waiting = new Queue<Resource>([composition]);
        var linked = links.Where(l => l.From is not null && l.To is not null).ToLookup(l => l.From!, l => l.To!, ReferenceEqualityComparer.Instance);
        while (waiting.TryDequeue(out var from))
            foreach (var to in linked[from])
                if (reached.Add(to))
                    waiting.Enqueue(to);

        for (var i = 0; i < document.Entry.Count; i++)
        {
            var resource = document.Entry[i].Resource;
            var hasPart = resource is null || reached.Contains(resource) || resource is Binary
                || (resource is Provenance && linked[resource].Any(reached.Contains));
            if (!hasPart)
            {
                issues.Add(Issue.Error(
                    OperationOutcome.IssueType.BusinessRule,
                    $"The {resource!.TypeName} has no part in the document: nothing reached from the Composition refers to it. Refer to it or leave it out.",
                    $"Bundle.entry[{i}]"));
            }
        }
    }

    private static void CheckDates(Composition composition, IssueList issues)
    {
        if (composition.Meta?.LastUpdated is { } updated && composition.Date is { Length: > 10 } text
            && DateTimeOffset.TryParse(text, System.Globalization.CultureInfo.InvariantCulture, out var date) && updated < date)
        {
            issues.Add(Issue.Error(
                OperationOutcome.IssueType.BusinessRule,
                $"The Composition was last updated {updated:O}, before its date {text}. A document is dated when it was last written or earlier.",
                "Bundle.entry[0].resource.date"));
        }
    }

    private static Resource? EntryOf(Element element)
    {
        for (var at = element; at is not null; at = at.Parent)
            if (at.Value is Resource resource && at.Parent?.Value is Bundle.EntryComponent)
                return resource;
        return null;
    }
}
