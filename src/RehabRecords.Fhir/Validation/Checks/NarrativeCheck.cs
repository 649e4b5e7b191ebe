using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Validation.Checks;

/// <summary>The narrative is XHTML that is safe to show: no script, and nothing that is fetched from elsewhere.</summary>
internal sealed class NarrativeCheck : IResourceCheck
{
    public void Check(ResourceView view, IssueList issues)
    {
        foreach (var (at, narrative) in view.All<Narrative>())
            if (narrative.Div is { } div)
                foreach (var problem in SafeNarrative.Problems(div))
                    issues.Add(problem.At(at.Path + ".div"));
    }
}
