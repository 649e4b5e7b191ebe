using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Validation.Checks;

/// <summary>A reference points at a type its element allows, whether or not the target can be seen.</summary>
internal sealed class ReferenceTypesCheck(ReferenceTargets targets) : IResourceCheck
{
    public void Check(ResourceView view, IssueList issues)
    {
        foreach (var (at, reference) in view.All<ResourceReference>())
        {
            if (reference.Reference is not { Length: > 0 } text)
            {
                if (reference.Type is { } stated && ModelInfo.IsKnownResource(stated))
                    CheckType(at, stated, "(by identifier)", issues);
                continue;
            }

            if (!Uri.TryCreate(text, UriKind.RelativeOrAbsolute, out _))
            {
                issues.Error(OperationOutcome.IssueType.Value, LiteralReference.Unreadable(text), at);
                continue;
            }

            var literal = LiteralReference.Of(text);
            if (literal.IsUnreadable)
            {
                // R4 leaves such an address open; nothing that is stored may have one.
                issues.Add(new Issue(
                    OperationOutcome.IssueSeverity.Warning, OperationOutcome.IssueType.Value, LiteralReference.Unreadable(text), at.Path));
                continue;
            }

            var type = TypeOf(literal, at, view, issues);
            if (type is not null)
                CheckType(at, type, text, issues);
            if (type is not null && reference.Type is { } said && said != type && ModelInfo.IsKnownResource(said))
                issues.Error(OperationOutcome.IssueType.Value, $"The reference says its type is {said} but names {text}, a {type}.", at);
        }
    }

    private static string? TypeOf(LiteralReference literal, Element at, ResourceView view, IssueList issues)
    {
        if (!literal.IsContained)
            return literal.Type ?? view.Entries?.Resolve(literal, BundleEntries.FullUrlOf(at)).Target?.TypeName;
        var container = (Resource)at.Container.Value;
        var id = literal.Text[1..];
        if (id.Length == 0 || container.Id == id)
            return container.TypeName;
        var contained = (container as DomainResource)?.Contained.FirstOrDefault(c => c.Id == id);
        if (contained is null && container is DomainResource)
            issues.Error(OperationOutcome.IssueType.NotFound, $"The reference {literal.Text} names no contained resource.", at);
        return contained?.TypeName;
    }

    private void CheckType(Element at, string type, string text, IssueList issues)
    {
        if (targets.Forbids(at, type) is var (profile, allowed))
        {
            issues.Error(
                OperationOutcome.IssueType.Value,
                $"The reference {text} points at a {type}; here only {string.Join(", ", allowed.Order(StringComparer.Ordinal))} is allowed.",
                at,
                profile);
        }
    }
}
