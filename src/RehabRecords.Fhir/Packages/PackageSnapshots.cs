using Hl7.Fhir.Model;
using Hl7.Fhir.Specification.Snapshot;
using RehabRecords.Fhir.Definitions;

namespace RehabRecords.Fhir.Packages;

/// <summary>Makes the snapshots that profiles of packages lack, and leaves out the profiles that cannot have one.</summary>
internal sealed class PackageSnapshots(List<PackageDefinition> definitions, DefinitionsPack pack, List<LeftOut> leftOut)
{
    private readonly HashSet<string> _visited = new(StringComparer.Ordinal);
    private readonly Dictionary<StructureDefinition, string> _failed = [];
    private readonly List<FhirPackage> _made = [];

    /// <summary>The package of each snapshot made.</summary>
    public IReadOnlyList<FhirPackage> Made => _made;

    public void Make()
    {
        LeaveOutUnknownExtensions();
        var generator = new SnapshotGenerator(new PackageResolver(definitions.Select(d => d.Definition), pack), new SnapshotGeneratorSettings
        {
            GenerateSnapshotForExternalProfiles = true,
            ForceRegenerateSnapshots = false,
            GenerateElementIds = true,
        });
        var structures = definitions.Where(d => d.Definition is StructureDefinition).ToLookup(d => d.Definition.Url!, StringComparer.Ordinal);
        foreach (var one in structures)
            Make(one.Key, structures, generator);
        Leave(d => d.Definition is StructureDefinition s && _failed.TryGetValue(s, out var why) ? why : null);
        var elements = new PackageElements(new PackageResolver(definitions.Select(d => d.Definition), pack));
        Leave(d => d.Definition is StructureDefinition s && elements.Unknown(s) is { } path ? $"it speaks of {path}, which R4 does not have." : null);
    }

    /// <summary>
    /// A profile that refers to a profile or extension that is nowhere cannot be checked, nor can one that refers to such
    /// a profile: repeats until nothing more is missing.
    /// </summary>
    public void LeaveOutWhatNeedsMissing()
    {
        int before;
        do
        {
            before = definitions.Count;
            var resolver = new PackageResolver(definitions.Select(d => d.Definition), pack);
            Leave(d => d.Definition is StructureDefinition s && Needs(s).FirstOrDefault(n => resolver.Find(n) is null) is { } missing
                ? $"it needs {missing}, which is neither in R4 nor usable from a package of the folder."
                : null);
        }
        while (definitions.Count < before);
    }

    /// <summary>
    /// Published profiles offer extensions of later versions of FHIR that nobody has to send. A profile is used without such
    /// a slice: whoever sends the extension all the same is refused, as with any extension that is not known.
    /// </summary>
    private void LeaveOutUnknownExtensions()
    {
        var resolver = new PackageResolver(definitions.Select(d => d.Definition), pack);
        foreach (var (package, definition) in definitions)
        {
            if (definition is not StructureDefinition structure)
                continue;
            foreach (var elements in new[] { structure.Differential?.Element, structure.Snapshot?.Element }.OfType<List<ElementDefinition>>())
            {
                foreach (var slice in elements.Where(e => IsOptionalExtension(e) && e.Type.SelectMany(t => t.Profile).Any(p => resolver.Find(p!) is null)).ToList())
                {
                    elements.RemoveAll(e => e.ElementId == slice.ElementId || (e.ElementId ?? "").StartsWith(slice.ElementId + ".", StringComparison.Ordinal));
                    var left = new LeftOut(package.Label, slice.Type[0].Profile.First()!, $"it is neither in R4 nor in a package of the folder. {structure.Url} is used without it, and a resource that carries it is refused.");
                    if (!leftOut.Contains(left))
                        leftOut.Add(left);
                }
            }
        }
    }

    private static bool IsOptionalExtension(ElementDefinition element) =>
        element.Min is null or 0 && element is { SliceName: not null, ElementId: not null } && (element.Path ?? "").EndsWith("xtension", StringComparison.Ordinal);

    // What a profile builds on goes first, so that what is said of its snapshot is about itself.
    private void Make(string url, ILookup<string, PackageDefinition> structures, SnapshotGenerator generator)
    {
        if (!_visited.Add(url))
            return;
        foreach (var one in structures[url])
        {
            var structure = (StructureDefinition)one.Definition;
            foreach (var needed in Needs(structure))
                Make(DefinitionsPack.Split(needed).Url, structures, generator);
            if (structure.Snapshot is { Element.Count: > 1 })
                continue;
            structure.Snapshot = null;
            if (Problem(structure, generator) is { } problem)
                _failed[structure] = problem;
            else
                _made.Add(one.Package);
        }
    }

    private static string? Problem(StructureDefinition structure, SnapshotGenerator generator)
    {
        try
        {
            generator.UpdateAsync(structure).GetAwaiter().GetResult();
        }
#pragma warning disable CA1031 // The generator throws exceptions of many kinds at a differential that does not fit its base.
        catch (Exception e) when (e is not OutOfMemoryException)
#pragma warning restore CA1031
        {
            return $"no snapshot can be made. {e.Message}";
        }

        var wrong = (generator.Outcome?.Issue ?? []).Where(i => i.Severity is OperationOutcome.IssueSeverity.Error or OperationOutcome.IssueSeverity.Fatal)
            .Select(i => $"{i.Details?.Text ?? i.Diagnostics}").Distinct().Take(3).ToList();
        return wrong.Count > 0 ? $"no snapshot can be made. {string.Join("; ", wrong)}" : structure.HasSnapshot ? null : "no snapshot can be made.";
    }

    private void Leave(Func<PackageDefinition, string?> reason) => definitions.RemoveAll(d =>
    {
        if (reason(d) is not { } why)
            return false;
        leftOut.Add(new(d.Package.Label, d.Definition.Url!, why));
        return true;
    });

    private static IEnumerable<string> Needs(StructureDefinition structure)
    {
        if (structure.BaseDefinition is { } basis)
            yield return basis;
        foreach (var element in structure.Snapshot?.Element ?? structure.Differential?.Element ?? [])
            foreach (var profile in element.Type.SelectMany(t => t.Profile).OfType<string>())
                yield return profile;
    }
}
