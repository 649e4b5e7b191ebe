using Hl7.Fhir.Model;
using RehabRecords.Fhir.Definitions;

namespace RehabRecords.Fhir.Validation.Checks;

/// <summary>A claim to a profile we cannot check is refused: a stored claim must mean that it was checked.</summary>
internal sealed class ProfilesClaimedCheck(DefinitionsPack pack) : IResourceCheck
{
    public void Check(ResourceView view, IssueList issues)
    {
        foreach (var (at, resource) in view.All<Resource>())
        {
            if (resource.ImplicitRules is { } rules)
            {
                issues.Error(
                    OperationOutcome.IssueType.NotSupported,
                    $"implicitRules names {rules}; the record cannot be read safely without knowing those rules. Send it without implicitRules.",
                    at);
            }

            foreach (var profile in resource.Meta?.Profile ?? [])
            {
                if (profile is null)
                    continue;
                var entry = pack.EntryOf(profile);
                if (entry is not { Type: "StructureDefinition" })
                {
                    issues.Add(Issue.Error(
                        OperationOutcome.IssueType.NotSupported,
                        $"meta.profile claims {profile}. {pack.Unknown(profile)} Leave the claim out, or claim one that is known.",
                        at.Path + ".meta.profile"));
                }
                else if (entry.Of != resource.TypeName && entry.Of is not ("Resource" or "DomainResource"))
                {
                    issues.Add(Issue.Error(
                        OperationOutcome.IssueType.Value,
                        $"meta.profile claims {profile}, which is a profile of {entry.Of}, not of {resource.TypeName}.",
                        at.Path + ".meta.profile"));
                }
            }
        }
    }
}
