namespace RehabRecords.Rest.Conformance;

/// <summary>The types of definitions that are served: ours and R4's own, to read and to search. They come with the program, so nobody can change them.</summary>
internal static class DefinitionKinds
{
    public static IReadOnlyList<(string Type, string Purpose)> All { get; } =
    [
        ("CapabilityStatement", "What a server of base R4 can offer; what this one offers is at /metadata."),
        ("CodeSystem", "Our code systems, and those of R4."),
        ("CompartmentDefinition", "Which resources belong to a person's record."),
        ("ConceptMap", "Maps between code systems that R4 brings."),
        ("NamingSystem", "Names of code and identifier systems that R4 brings."),
        ("OperationDefinition", "Our own operations, and those of R4."),
        ("SearchParameter", "Every search parameter of R4."),
        ("StructureDefinition", "Our profiles and extensions, and the types of R4."),
        ("ValueSet", "Our value sets, and those of R4."),
    ];
}
