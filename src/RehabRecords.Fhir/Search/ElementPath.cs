using System.Text.RegularExpressions;
using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Search;

/// <summary>
/// Walks a resource by the plain kind of path that nearly all official search expressions are: names, "as" and two
/// kinds of "where". The FHIRPath engine finds the same, at many times the cost for each write and with all its
/// expressions to be compiled at each start; what is not plain is left to it.
/// </summary>
internal sealed partial class ElementPath
{
    private readonly List<Func<Resource, Base, IEnumerable<Base>>> _steps = [];

    private ElementPath()
    {
    }

    /// <summary>Null where the expression is not of the plain kind.</summary>
    public static ElementPath? Parse(string type, string expression)
    {
        var path = new ElementPath();
        return path.Read(type, expression.Trim()) ? path : null;
    }

    public IEnumerable<Base> Values(Resource resource)
    {
        IEnumerable<Base> values = [resource];
        foreach (var step in _steps)
            values = values.SelectMany(v => step(resource, v));
        return values;
    }

    [GeneratedRegex(@"^\.(?<name>[a-z]\w*)(?=$|[. ])")]
    private static partial Regex ChildStep { get; }

    [GeneratedRegex(@"^\.where\(resolve\(\) is (?<type>[A-Z]\w*)\)")]
    private static partial Regex TargetStep { get; }

    [GeneratedRegex(@"^\.where\((?<name>[a-z]\w*)\s*=\s*'(?<value>[^'\\]*)'\)")]
    private static partial Regex EqualStep { get; }

    [GeneratedRegex(@"^ as (?<type>\w+)$")]
    private static partial Regex AsStep { get; }

    [GeneratedRegex(@"^(?<type>[A-Z]\w*)(?=\.|$)")]
    private static partial Regex Root { get; }

    private bool Read(string type, string text)
    {
        string rest;
        if (text.StartsWith('('))
        {
            var close = Close(text);
            if (close < 0 || !Read(type, text[1..close]))
                return false;
            rest = text[(close + 1)..];
        }
        else if (Root.Match(text) is { Success: true } root && (root.Groups["type"].Value == type || root.Groups["type"].Value is "Resource" or "DomainResource"))
        {
            rest = text[root.Length..];
        }
        else
        {
            return false;
        }

        while (rest.Length > 0)
        {
            if (ChildStep.Match(rest) is { Success: true } child)
                rest = Add(rest, child, Children(child.Groups["name"].Value));
            else if (TargetStep.Match(rest) is { Success: true } target)
                rest = Add(rest, target, PointsAt(target.Groups["type"].Value));
            else if (EqualStep.Match(rest) is { Success: true } equal)
                rest = Add(rest, equal, Having(equal.Groups["name"].Value, equal.Groups["value"].Value));
            else if (AsStep.Match(rest) is { Success: true } cast)
                rest = Add(rest, cast, OfType(cast.Groups["type"].Value));
            else
                return false;
        }

        return true;
    }

    private static int Close(string text)
    {
        var depth = 0;
        for (var i = 0; i < text.Length; i++)
        {
            if (text[i] == '(')
                depth++;
            else if (text[i] == ')' && --depth == 0)
                return i;
        }

        return -1;
    }

    private string Add(string rest, Match match, Func<Resource, Base, IEnumerable<Base>> step)
    {
        _steps.Add(step);
        return rest[match.Length..];
    }

    private static Func<Resource, Base, IEnumerable<Base>> Children(string name) => (_, element) =>
        element.TryGetValue(name, out var found)
            ? found switch { Base one => [one], IEnumerable<Base> many => many, _ => [] }
            : [];

    private static Func<Resource, Base, IEnumerable<Base>> OfType(string type) => (_, element) => element.TypeName == type ? [element] : [];

    private static Func<Resource, Base, IEnumerable<Base>> Having(string name, string value)
    {
        var children = Children(name);
        return (resource, element) => children(resource, element).Any(c => c is PrimitiveType { JsonValue: string text } && text == value) ? [element] : [];
    }

    private static Func<Resource, Base, IEnumerable<Base>> PointsAt(string type) => (resource, element) =>
        element is ResourceReference { Reference: { Length: > 1 } reference } && TargetType(resource, reference) == type ? [element] : [];

    private static string? TargetType(Resource resource, string reference) =>
        reference[0] != '#'
            ? ReferenceTypes.Split(reference)?.Type
            : (resource as DomainResource)?.Contained.FirstOrDefault(c => c.Id == reference[1..])?.TypeName;
}
