using Hl7.Fhir.Model;
using RehabRecords.Fhir.Parsing;

namespace RehabRecords.Fhir.Patch;

/// <summary>
/// A narrative that a patch leaves as it was, beside data that it changes, may say the opposite of them; and people read
/// the narrative. Such a patch is refused: who patches the data patches the text with it, or takes it out.
/// </summary>
internal static class NarrativeAfterPatch
{
    /// <exception cref="RefusedException">Invalid, with each narrative that was left behind.</exception>
    public static void Require(Resource before, Resource after)
    {
        var issues = new List<Issue>();
        if (before is DomainResource { Text.Div: { Length: > 0 } told } old && after is DomainResource changed && changed.Text?.Div == told && Data(old) != Data(changed))
            issues.Add(Left($"{after.TypeName}.text"));
        if (before is Composition document && after is Composition patched)
        {
            var sections = Sections(document.Section, "").Where(s => s.Section.Text?.Div is not null).ToLookup(s => s.Section.Text!.Div!, s => Data(s.Section));
            issues.AddRange(Sections(patched.Section, "Composition")
                .Where(s => s.Section.Text?.Div is { } div && sections.Contains(div) && !sections[div].Contains(Data(s.Section)))
                .Select(s => Left(s.Path + ".text")));
        }
        if (issues.Count > 0)
            throw new RefusedException(Refusal.Invalid, issues);
    }

    private static Issue Left(string expression) => Issue.Error(OperationOutcome.IssueType.BusinessRule,
        "The patch changes what the narrative tells and leaves the narrative as it was, so the two may contradict each other. Replace the narrative in the same patch, or remove it, or send the whole resource with PUT.",
        expression);

    // Neither the labels in meta nor the text itself are told by the text.
    private static string Data(DomainResource resource)
    {
        var copy = (DomainResource)resource.DeepCopy();
        copy.Text = null;
        copy.Meta = null;
        return Written(copy);
    }

    private static string Data(Composition.SectionComponent section)
    {
        var copy = (Composition.SectionComponent)section.DeepCopy();
        copy.Text = null;
        copy.Section = [];
        return Written(copy);
    }

    private static string Written(Base element) => Convert.ToBase64String(ResourceWriter.Json(element));

    private static IEnumerable<(Composition.SectionComponent Section, string Path)> Sections(List<Composition.SectionComponent> sections, string path)
    {
        for (var i = 0; i < sections.Count; i++)
        {
            var here = $"{path}.section[{i}]";
            yield return (sections[i], here);
            foreach (var inner in Sections(sections[i].Section, here))
                yield return inner;
        }
    }
}
