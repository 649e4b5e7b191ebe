using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Validation.Checks;

/// <summary>A Quantity that says it is in UCUM has a code that is UCUM. The profile validator accepts any text there.</summary>
internal sealed class UnitsCheck : IResourceCheck
{
    public void Check(ResourceView view, IssueList issues)
    {
        foreach (var (at, quantity) in view.All<Quantity>())
        {
            if (quantity.System != UcumCode.System)
                continue;
            if (quantity.Code is not { Length: > 0 } code)
            {
                if (quantity.Value is not null)
                    issues.Error(OperationOutcome.IssueType.Required, "The quantity names UCUM but has no code. Give the UCUM code of its unit.", at);
            }
            else if (!UcumCode.IsValid(code))
            {
                issues.Error(OperationOutcome.IssueType.CodeInvalid, $"The unit code {code} is not UCUM. Give the UCUM code of the unit, such as s, min or {{score}}.", at);
            }
        }
    }
}
