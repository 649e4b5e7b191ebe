using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Validation.Checks;

/// <summary>All entries of a document or collection are about the same patient: mixing two is the worst mistake a record can make.</summary>
internal sealed class OnePatientCheck : IResourceCheck
{
    public void Check(ResourceView view, IssueList issues)
    {
        if (view.Entries is not { Bundle.Type: Bundle.BundleType.Document } entries)
            return;
        (string Patient, Element At)? first = null;
        foreach (var (at, reference) in view.All<ResourceReference>())
        {
            if (at.Name is not ("subject" or "patient") || at.Parent?.Value is not Resource || reference.Reference is not { Length: > 0 } text)
                continue;
            var fullUrl = BundleEntries.FullUrlOf(at);
            var literal = LiteralReference.Of(text);
            var target = entries.Resolve(literal, fullUrl).Target;
            if ((target?.TypeName ?? literal.Type) != "Patient")
                continue;
            var patient = literal.IsLocal && fullUrl is not null ? LiteralReference.Of(fullUrl).Base + literal.Unversioned : literal.Unversioned;
            if (first is null)
            {
                first = (patient, at);
            }
            else if (first.Value.Patient != patient)
            {
                issues.Error(
                    OperationOutcome.IssueType.BusinessRule,
                    $"The element is about {text}, while {first.Value.At.Path} is about {first.Value.Patient}. A document is about one person.",
                    at);
            }
        }
    }
}
