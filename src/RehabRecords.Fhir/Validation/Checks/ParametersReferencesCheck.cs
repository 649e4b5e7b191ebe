using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Validation.Checks;

/// <summary>
/// Resources sent together as parameters of an operation refer to each other by type and id. A reference to a type that is
/// among them, but to another id, is a slip that would be read as some other record of the server.
/// </summary>
internal sealed class ParametersReferencesCheck : IResourceCheck
{
    public void Check(ResourceView view, IssueList issues)
    {
        if (view.Root is not Parameters)
            return;
        var sent = view.All<Resource>().Where(r => r.At.Name == "resource" && r.Value.Id is not null).Select(r => r.Value).ToLookup(r => r.TypeName, r => r.Id);
        if (sent.Count < 2)
            return;
        foreach (var (at, reference) in view.All<ResourceReference>())
        {
            if (reference.Reference is not { Length: > 0 } text)
                continue;
            var literal = LiteralReference.Of(text);
            if (literal.IsLocal && sent[literal.Type!].Any() && !sent[literal.Type!].Contains(literal.Id) && !InBundle(at))
                issues.Error(OperationOutcome.IssueType.NotFound, $"The reference {text} names none of the resources of type {literal.Type} sent with it.", at);
        }
    }

    private static bool InBundle(Element element)
    {
        for (var at = element; at is not null; at = at.Parent)
            if (at.Value is Bundle)
                return true;
        return false;
    }
}
