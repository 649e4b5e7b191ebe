using System.Collections.Concurrent;
using System.Text.RegularExpressions;
using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Search;

/// <summary>
/// The short expressions of the parts of composites: "code", "value.as(Quantity)", joined by "|". R4 writes
/// value.as(DateTime) where the type is called dateTime, so types are compared without case here.
/// </summary>
internal static partial class ComponentPath
{
    private static readonly ConcurrentDictionary<string, (string Name, string? Type)[]> _read = new(StringComparer.Ordinal);

    public static IEnumerable<Base> Values(Base element, string expression)
    {
        foreach (var (name, type) in _read.GetOrAdd(expression, Read))
        {
            if (!element.TryGetValue(name, out var found))
                continue;
            foreach (var value in found switch { Base one => [one], IEnumerable<Base> many => many, _ => [] })
                if (type is null || string.Equals(value.TypeName, type, StringComparison.OrdinalIgnoreCase))
                    yield return value;
        }
    }

    [GeneratedRegex(@"^(?<name>[a-z]\w*)(\.as\((?<type>\w+)\))?$")]
    private static partial Regex Part { get; }

    private static (string, string?)[] Read(string expression) => [.. SearchExpression.Split(expression).Select(text => Part.Match(text) switch
    {
        { Success: true } match => (match.Groups["name"].Value, match.Groups["type"] is { Success: true } type ? type.Value : null),
        _ => throw new InvalidOperationException($"The part '{text}' of a composite search parameter is not understood."),
    })];
}
