using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Validation.Checks;

/// <summary>A Consent of privacy, research, treatment or directive names its patient. The rules of R4 that say so (ppc-2 to ppc-5) never fire.</summary>
internal sealed class ConsentCheck : IResourceCheck
{
    private static readonly HashSet<string> Scopes = new(StringComparer.Ordinal) { "adr", "research", "patient-privacy", "treatment" };

    public void Check(ResourceView view, IssueList issues)
    {
        foreach (var (at, consent) in view.All<Consent>())
            if (consent.Patient is null && consent.Scope?.Coding.Any(c => Scopes.Contains(c.Code ?? "")) == true)
                issues.Error(OperationOutcome.IssueType.Required, "The Consent names no patient. Give the person whose consent it is.", at);
    }
}
