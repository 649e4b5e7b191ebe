using Hl7.Fhir.Model;
using RehabRecords.Fhir.Definitions;

namespace RehabRecords.Fhir.Validation.Checks;

/// <summary>
/// In a resource that claims a profile of ours, LOINC codes are those our value set lists: nobody here can check another.
/// </summary>
internal sealed class ListedCodesCheck : IResourceCheck
{
    private const string Loinc = "http://loinc.org";
    private readonly DefinitionsPack _pack;
    private readonly HashSet<string> _listed;
    private readonly string _setUrl = "";

    public ListedCodesCheck(DefinitionsPack pack, string listedLoinc)
    {
        _pack = pack;
        var entry = pack.Entries.FirstOrDefault(e => e is { Own: true, Type: "ValueSet" } && e.Url.EndsWith("/" + listedLoinc, StringComparison.Ordinal));
        _setUrl = entry?.Url ?? "";
        _listed = (entry is null ? null : pack.Find<ValueSet>(entry.Url))?.Compose?.Include
            .Where(i => i.System == Loinc).SelectMany(i => i.Concept).Select(c => c.Code).OfType<string>().ToHashSet(StringComparer.Ordinal) ?? [];
    }

    public void Check(ResourceView view, IssueList issues)
    {
        if (_setUrl.Length == 0)
            return;
        foreach (var (at, coding) in view.All<Coding>())
        {
            if (coding.System != Loinc || coding.Code is not { } code || _listed.Contains(code))
                continue;
            if (at.Owner.Meta?.Profile.FirstOrDefault(p => p is not null && _pack.EntryOf(p) is { Own: true }) is { } profile)
                issues.Error(OperationOutcome.IssueType.CodeInvalid, $"The LOINC code {code} is not among those used here, which {_setUrl} lists.", at, profile);
        }
    }
}
