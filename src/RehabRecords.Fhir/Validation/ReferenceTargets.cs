using System.Collections.Concurrent;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Definitions;

namespace RehabRecords.Fhir.Validation;

/// <summary>Which resource types a reference element may point at, as R4 and the claimed profiles say.</summary>
internal sealed class ReferenceTargets(DefinitionsPack pack)
{
    private const string Any = "Resource";
    private readonly ConcurrentDictionary<string, IReadOnlyDictionary<string, IReadOnlySet<string>>> _byDefinition = new(StringComparer.Ordinal);

    /// <summary>The first definition that forbids the type, with what it allows; null when the type is allowed.</summary>
    public (string? Profile, IReadOnlySet<string> Allowed)? Forbids(Element reference, string targetType)
    {
        if (reference.Parent is not { } parent)
            return null;
        if (parent.Value is Extension)
            return Allowed(ExtensionDefinition(parent), ExtensionKey(parent)) is { } inExtension && !inExtension.Contains(targetType) ? (null, inExtension) : null;

        var type = parent.TypeRoot.Split('.')[0];
        if (Allowed(DefinitionsPack.CoreTypeUrl(type), reference.DefinedAt) is { } allowed && !allowed.Contains(targetType))
            return (null, allowed);
        if (reference.Owner.TypeName != type)
            return null;
        foreach (var profile in reference.Owner.Meta?.Profile ?? [])
            if (profile is not null && Allowed(profile, reference.DefinedAt) is { } narrower && !narrower.Contains(targetType))
                return (profile, narrower);
        return null;
    }

    /// <summary>The address of the extension an inner extension belongs to.</summary>
    public static string? ExtensionDefinition(Element extension)
    {
        var outermost = extension;
        while (outermost.Parent?.Value is Extension)
            outermost = outermost.Parent;
        return ((Extension)outermost.Value).Url;
    }

    // Inner extensions are told apart by their own url, which is the name of the slice by convention and by our profiles.
    private static string ExtensionKey(Element extension) => extension.Parent?.Value is Extension ? "*" + ((Extension)extension.Value).Url : "Extension.value";

    private IReadOnlySet<string>? Allowed(string? definition, string path) =>
        definition is not null && _byDefinition.GetOrAdd(definition, Read).TryGetValue(path, out var allowed) && !allowed.Contains(Any) ? allowed : null;

    private Dictionary<string, IReadOnlySet<string>> Read(string canonical)
    {
        var targets = new Dictionary<string, HashSet<string>>(StringComparer.Ordinal);
        if (pack.Find<StructureDefinition>(canonical) is { Snapshot: { } snapshot })
        {
            foreach (var element in snapshot.Element)
            {
                var references = element.Type.Where(t => t.Code is "Reference" or "CodeableReference").ToList();
                if (references.Count == 0 || element.Max == "0")
                    continue;
                var key = Key(element);
                if (!targets.TryGetValue(key, out var types))
                    targets[key] = types = new HashSet<string>(StringComparer.Ordinal);
                foreach (var reference in references)
                {
                    if (!reference.TargetProfile.Any())
                        types.Add(Any);
                    foreach (var target in reference.TargetProfile)
                        types.Add(pack.EntryOf(target!)?.Of ?? target![(target!.LastIndexOf('/') + 1)..]);
                }
            }
        }

        return targets.ToDictionary(t => t.Key, t => (IReadOnlySet<string>)t.Value, StringComparer.Ordinal);
    }

    private static string Key(ElementDefinition element)
    {
        var path = element.Path!.Replace("[x]", "", StringComparison.Ordinal);
        if (!element.Path!.StartsWith("Extension.extension", StringComparison.Ordinal) || element.ElementId is not { } id)
            return path;
        // Extension.extension:evidence.value[x] is the value of the inner extension "evidence".
        var slice = id[(id.LastIndexOf(':') + 1)..];
        var end = slice.IndexOf('.', StringComparison.Ordinal);
        return "*" + (end < 0 ? slice : slice[..end]);
    }
}
