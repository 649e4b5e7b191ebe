using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Packages;

/// <summary>
/// Whether the elements a profile speaks of exist. Making a snapshot takes an unknown one in as if R4 had it, and then no
/// resource could ever conform.
/// </summary>
internal sealed class PackageElements(PackageResolver resolver)
{
    /// <summary>The first path that is in no definition, or null.</summary>
    public string? Unknown(StructureDefinition structure)
    {
        var elements = structure.Snapshot!.Element;
        var byPath = elements.ToLookup(e => e.Path ?? "", StringComparer.Ordinal);
        var basis = Paths(structure.Type!);
        foreach (var path in byPath.Select(g => g.Key))
        {
            var dot = path.LastIndexOf('.');
            if (dot < 0 || basis.Contains(path) || Allows(basis, path[..dot], path[(dot + 1)..]))
                continue;
            var parents = byPath[path[..dot]].ToList();
            var referred = parents.Select(p => p.ContentReference).OfType<string>().Select(r => r[(r.LastIndexOf('#') + 1)..]);
            var known = parents.SelectMany(p => p.Type).Select(t => t.Code!).Distinct().Any(type => Allows(Paths(type), type[(type.LastIndexOf('/') + 1)..], path[(dot + 1)..]))
                || referred.Any(r => Allows(basis, r, path[(dot + 1)..]));
            if (!known)
                return path;
        }

        return null;
    }

    private static bool Allows(HashSet<string> paths, string parent, string name)
    {
        if (paths.Contains($"{parent}.{name}"))
            return true;
        // valueQuantity is a way to write value[x].
        for (var end = name.Length - 1; end > 0; end--)
            if (char.IsAsciiLetterUpper(name[end]) && paths.Contains($"{parent}.{name[..end]}[x]"))
                return true;
        return false;
    }

    private HashSet<string> Paths(string type)
    {
        // A type of FHIRPath (http://hl7.org/fhirpath/System.String) has nothing below it.
        var found = resolver.Find(type.Contains(':', StringComparison.Ordinal) ? type : Definitions.DefinitionsPack.CoreTypeUrl(type)) as StructureDefinition;
        return (found?.Snapshot?.Element ?? []).Select(e => e.Path ?? "").ToHashSet(StringComparer.Ordinal);
    }
}
