using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Search;

/// <summary>Reads _include and _revinclude: "Type:reference", "Type:reference:Target", "Type:*" or "*".</summary>
internal static class InclusionParser
{
    public static Inclusion Parse(SearchParameters parameters, IReadOnlyList<string> types, string name, string value)
    {
        var reverse = name.StartsWith("_revinclude", StringComparison.Ordinal);
        var iterate = name.EndsWith(":iterate", StringComparison.Ordinal);
        var parts = value.Split(':');
        if (value == "*")
            return new Inclusion(reverse, null, null, null, iterate);
        var every = parts is [_, "*"] or [_, "*", _] && parameters.Registry.Has(parts[0]);
        var parameter = every || parts.Length is not (2 or 3) ? null : parameters.Find(parts[0], parts[1]);
        if (!every && parameter is not { Kind: SearchParamType.Reference })
            throw SearchQuery.Bad(name, $"'{value}' must be a type and one of its reference parameters, such as Observation:subject, or Observation:* for all of them");
        var target = parts.Length == 3 ? parts[2] : null;
        if (target is not null && !(parameter is { Targets: var targets } ? targets.Contains(target) : ModelInfo.IsKnownResource(target)))
            throw SearchQuery.Bad(name, $"'{parts[0]}:{parts[1]}' never leads to '{target}'");
        return reverse || iterate || types.Contains(parts[0])
            ? new Inclusion(reverse, parts[0], parameter, target, iterate)
            : throw SearchQuery.Bad(name, $"'{value}' starts from {parts[0]}, but {string.Join(", ", types)} is searched; to follow what was included itself, write {name}:iterate");
    }
}
