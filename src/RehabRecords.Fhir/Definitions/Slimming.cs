using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Definitions;

/// <summary>Takes out of a definition what only a person reads, so that the pack is small and quick to parse.</summary>
internal static class Slimming
{
    public static void Slim(Resource resource, bool own)
    {
        if (resource is DomainResource domain && !own)
            domain.Text = null;
        switch (resource)
        {
            case StructureDefinition structure:
                Slim(structure, own);
                break;
            case ValueSet set:
                set.Contact = [];
                if (!own)
                {
                    set.Copyright = null;
                    set.Description = null;
                    set.Compose = set.HasExpansion ? null : set.Compose;
                }

                break;
            case CodeSystem system when !own:
                system.Contact = [];
                system.Copyright = null;
                system.Description = null;
                Slim(system.Concept);
                break;
            case SearchParameter parameter:
                parameter.Contact = [];
                parameter.Xpath = null;
                break;
        }
    }

    private static void Slim(StructureDefinition structure, bool own)
    {
        structure.Mapping = [];
        structure.Contact = [];
        structure.Keyword = [];
        if (!own)
        {
            structure.Differential = null;
            structure.Purpose = null;
            structure.Description = null;
            structure.Copyright = null;
        }

        foreach (var element in structure.Snapshot?.Element ?? [])
            Slim(element);
    }

    private static void Slim(ElementDefinition element)
    {
        element.Definition = null;
        element.Comment = null;
        element.Requirements = null;
        element.MeaningWhenMissing = null;
        element.OrderMeaning = null;
        element.IsModifierReason = null;
        element.AliasElement = [];
        element.Mapping = [];
        element.Example = [];
        element.Code = [];
        foreach (var constraint in element.Constraint)
            constraint.Xpath = null;
        if (element.Binding is { } binding)
        {
            binding.Description = null;
            binding.Extension = [];
        }
    }

    private static void Slim(List<CodeSystem.ConceptDefinitionComponent> concepts)
    {
        foreach (var concept in concepts)
        {
            concept.Definition = null;
            concept.Designation = [];
            concept.Extension = [];
            Slim(concept.Concept);
        }
    }
}
