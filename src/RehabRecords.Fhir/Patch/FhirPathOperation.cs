using System.Globalization;
using System.Text.RegularExpressions;
using Hl7.Fhir.Introspection;
using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Patch;

/// <summary>One operation of a FHIRPath Patch, and the finding of what it is about.</summary>
/// <param name="At">Expression of the operation in the request, for errors.</param>
internal sealed partial record FhirPathOperation(
    string Kind, string Path, string? Name, Parameters.ParameterComponent? Value, int? Index, int? Source, int? Destination, string At)
{
    private static readonly Dictionary<string, string[]> Needed = new(StringComparer.Ordinal)
    {
        ["add"] = ["name", "value"],
        ["insert"] = ["value", "index"],
        ["delete"] = [],
        ["replace"] = ["value"],
        ["move"] = ["source", "destination"],
    };

    public static FhirPathOperation Read(Parameters.ParameterComponent parameter, string at)
    {
        if (parameter.Name != "operation")
            throw Wrong($"A parameter of a FHIRPath Patch is named operation, not '{parameter.Name}'.", at + ".name");
        var parts = new Dictionary<string, Parameters.ParameterComponent>(StringComparer.Ordinal);
        foreach (var part in parameter.Part)
        {
            if (!parts.TryAdd(part.Name ?? "", part))
                throw Wrong($"The operation has the part '{part.Name}' twice.", at + ".part");
        }
        var kind = Text(parts, "type");
        if (kind is null || !Needed.TryGetValue(kind, out var needed))
            throw Wrong($"The operation's type is '{kind}'; it can be {string.Join(", ", Needed.Keys)}.", at + ".part");
        string[] all = ["type", "path", .. needed];
        if (Array.Find(all, name => !parts.ContainsKey(name)) is { } missing)
            throw Wrong($"The operation {kind} has no part '{missing}'; it needs {string.Join(", ", all)}.", at + ".part");
        if (parts.Keys.FirstOrDefault(name => !all.Contains(name, StringComparer.Ordinal)) is { } extra)
            throw Wrong($"The operation {kind} has the part '{extra}', which it does not take; it takes {string.Join(", ", all)}.", at + ".part");
        var operation = new FhirPathOperation(kind, Text(parts, "path") ?? "", Text(parts, "name"), parts.GetValueOrDefault("value"),
            Number(parts, "index", at), Number(parts, "source", at), Number(parts, "destination", at), at);
        if (PatchPath.Problem(operation.Path) is { } problem)
            throw Wrong($"The path '{operation.Path}' cannot be used: {problem}", at + ".part");
        return operation;
    }

    /// <summary>The only element at the path.</summary>
    public PocoNode One(Resource resource) =>
        OneOrNone(resource) ?? throw Impossible($"There is nothing at {Path}.");

    public PocoNode? OneOrNone(Resource resource)
    {
        var found = PatchPath.Find(resource, Path, At);
        return found.Count <= 1
            ? found.Count == 0 ? null : found[0]
            : throw Impossible($"{Path} names {found.Count} elements, and an operation is about one. Name it by index or where().");
    }

    /// <summary>The list that the path names, by its owner and its definition: it may have no element yet.</summary>
    public (Base Parent, PropertyMapping Property) Collection(Resource resource)
    {
        var match = LastStep().Match(Path);
        if (!match.Success)
            throw Impossible("The path must end in the name of a list, such as Patient.identifier.");
        var owner = match.Groups["owner"] is { Success: true } path ? path.Value : resource.TypeName;
        var found = PatchPath.Find(resource, owner, At);
        if (found.Count != 1)
            throw Impossible($"{owner} names {found.Count} elements; the list of one is needed.");
        var property = PropertyOf(found[0].Poco, match.Groups["name"].Value);
        return property.IsCollection ? (found[0].Poco, property) : throw Impossible($"{Path} is no list.");
    }

    /// <summary>What holds an element that was found.</summary>
    public (Base Parent, PropertyMapping Property) Holder(PocoNode node) =>
        node.Parent is { Poco: { } parent } && node.Name is { } name
            ? (parent, PropertyOf(parent, name))
            : throw Impossible("The path names the resource itself. To replace it use PUT, to delete it DELETE.");

    public PropertyMapping PropertyOf(Base parent, string name) =>
        ModelInfo.ModelInspector.FindClassMapping(parent.GetType())?.FindMappedElementByName(name) is { RepresentsValueElement: false } property
            ? property
            : throw Impossible($"{parent.TypeName} has no element '{name}'.");

    public Base NewValue(PropertyMapping property) =>
        PatchValue.Of(Value!, property, out var problem) ?? throw Impossible(problem);

    public void RequireIndex(string part, int? index, int last)
    {
        if (index is null || index < 0 || index > last)
            throw Impossible(last < 0 ? $"{part} is {index}, and the list is empty." : $"{part} is {index}; it can be 0 to {last}.");
    }

    public override string ToString() => $"{Kind} at {Path}";

    private RefusedException Impossible(string why) => new(Refusal.Invalid, OperationOutcome.IssueType.Processing, $"{this} cannot be done: {why}", At);

    private static string? Text(Dictionary<string, Parameters.ParameterComponent> parts, string name) =>
        parts.GetValueOrDefault(name)?.Value is PrimitiveType { JsonValue: string text } ? text : null;

    private static int? Number(Dictionary<string, Parameters.ParameterComponent> parts, string name, string at)
    {
        if (!parts.TryGetValue(name, out var part))
            return null;
        return part.Value is Integer { Value: { } number }
            ? number
            : throw Wrong(string.Create(CultureInfo.InvariantCulture, $"The part '{name}' must be a valueInteger."), at + ".part");
    }

    private static RefusedException Wrong(string message, string expression) =>
        new(Refusal.Malformed, OperationOutcome.IssueType.Invalid, message, expression);

    [GeneratedRegex(@"^((?<owner>.+)\.)?(?<name>[A-Za-z]+)$", RegexOptions.ExplicitCapture, 250)]
    private static partial Regex LastStep();
}
