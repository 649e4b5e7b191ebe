using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Packages;

/// <summary>
/// Leaves out definitions that build upon themselves: whoever follows such a chain, as the validator does, comes to no end
/// and overflows the stack.
/// </summary>
internal static class PackageCycles
{
    private const string ImposeProfile = "http://hl7.org/fhir/StructureDefinition/structuredefinition-imposeProfile";
    private const int LongestChain = 50;

    public static void LeaveOut(List<PackageDefinition> definitions, List<LeftOut> leftOut)
    {
        var next = definitions.GroupBy(d => d.Definition.Url!, StringComparer.Ordinal)
            .ToDictionary(g => g.Key, g => g.SelectMany(d => BuildsOn(d.Definition)).Distinct().ToList(), StringComparer.Ordinal);
        var depth = new Dictionary<string, int>(StringComparer.Ordinal);
        definitions.RemoveAll(d =>
        {
            if (Depth(d.Definition.Url!, 0) <= LongestChain)
                return false;
            leftOut.Add(new(d.Package.Label, d.Definition.Url!, $"it builds upon itself, or on a chain of more than {LongestChain} others."));
            return true;
        });

        // How many definitions lie below; more than the longest chain when it comes back to one it has met.
        int Depth(string url, int above)
        {
            if (!next.TryGetValue(url, out var below))
                return 0;
            if (depth.TryGetValue(url, out var known))
                return known;
            if (above > LongestChain)
                return LongestChain + 1;
            depth[url] = LongestChain + 1; // while it is being followed: to meet it again is a cycle
            var deepest = below.Select(b => Depth(b, above + 1)).DefaultIfEmpty(0).Max() + 1;
            return depth[url] = Math.Min(deepest, LongestChain + 1);
        }
    }

    private static IEnumerable<string> BuildsOn(IConformanceResource definition)
    {
        var found = definition switch
        {
            StructureDefinition s => new[] { s.BaseDefinition }.Concat(s.Extension.Where(e => e.Url == ImposeProfile).Select(e => (e.Value as PrimitiveType)?.ToString())),
            ValueSet v => (v.Compose?.Include ?? []).Concat(v.Compose?.Exclude ?? []).SelectMany(i => i.ValueSet),
            CodeSystem c => [c.Supplements],
            _ => [],
        };
        return found.OfType<string>().Select(c => Definitions.DefinitionsPack.Split(c).Url);
    }
}
