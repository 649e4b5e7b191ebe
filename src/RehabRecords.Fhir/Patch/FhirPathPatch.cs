using System.Collections;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Parsing;

namespace RehabRecords.Fhir.Patch;

/// <summary>FHIRPath Patch: Parameters whose operations name elements by FHIRPath.</summary>
internal sealed class FhirPathPatch : ResourcePatch
{
    private readonly IReadOnlyList<FhirPathOperation> _operations;

    private FhirPathPatch(IReadOnlyList<FhirPathOperation> operations) => _operations = operations;

    public static FhirPathPatch Of(Parameters parameters, string path)
    {
        var list = (path.Length == 0 ? "Parameters" : path) + ".parameter";
        RefuseTooMany(parameters.Parameter.Count, list);
        return new FhirPathPatch([.. parameters.Parameter.Select((parameter, i) => FhirPathOperation.Read(parameter, $"{list}[{i}]"))]);
    }

    internal override Resource Apply(ReadOnlyMemory<byte> json) =>
        // Read again like a body from outside, so that a value no element can have is refused with its place.
        ResourceReader.Read(ResourceWriter.Json(ApplyTo(ResourceReader.Trusted<Resource>(json))), FhirFormat.Json);

    /// <summary>Changes the resource in place.</summary>
    internal Resource ApplyTo(Resource resource)
    {
        foreach (var operation in _operations)
        {
            switch (operation.Kind)
            {
                case "add":
                    Add(resource, operation);
                    break;
                case "insert":
                    Insert(resource, operation);
                    break;
                case "delete":
                    Delete(resource, operation);
                    break;
                case "replace":
                    Replace(resource, operation);
                    break;
                default:
                    Move(resource, operation);
                    break;
            }
        }
        return resource;
    }

    private static void Add(Resource resource, FhirPathOperation operation)
    {
        var parent = operation.One(resource).Poco;
        var property = operation.PropertyOf(parent, operation.Name!);
        var value = operation.NewValue(property);
        if (property.IsCollection)
            PatchValue.ListIn(parent, property).Add(value);
        else if (parent.TryGetValue(property.Name, out var held) && held is not null)
            throw Impossible($"{operation} cannot be done: there is a {property.Name} already, and there can be only one. Use replace.", operation.At);
        else
            parent.SetValue(property.Name, value);
    }

    private static void Insert(Resource resource, FhirPathOperation operation)
    {
        var (parent, property) = operation.Collection(resource);
        var list = PatchValue.ListIn(parent, property);
        operation.RequireIndex("index", operation.Index, list.Count);
        list.Insert(operation.Index!.Value, operation.NewValue(property));
    }

    private static void Delete(Resource resource, FhirPathOperation operation)
    {
        // What is not there need not be deleted; that is so in R4.
        if (operation.OneOrNone(resource) is not { } node)
            return;
        var (parent, property) = operation.Holder(node);
        if (property.IsCollection)
            PatchValue.ListIn(parent, property).RemoveAt(Place(PatchValue.ListIn(parent, property), node.Poco));
        else
            parent.SetValue(property.Name, null);
    }

    private static void Replace(Resource resource, FhirPathOperation operation)
    {
        var node = operation.One(resource);
        var (parent, property) = operation.Holder(node);
        var value = operation.NewValue(property);
        if (property.IsCollection)
            PatchValue.ListIn(parent, property)[Place(PatchValue.ListIn(parent, property), node.Poco)] = value;
        else
            parent.SetValue(property.Name, value);
    }

    private static void Move(Resource resource, FhirPathOperation operation)
    {
        var (parent, property) = operation.Collection(resource);
        var list = PatchValue.ListIn(parent, property);
        operation.RequireIndex("source", operation.Source, list.Count - 1);
        operation.RequireIndex("destination", operation.Destination, list.Count - 1);
        var moved = list[operation.Source!.Value];
        list.RemoveAt(operation.Source.Value);
        list.Insert(operation.Destination!.Value, moved);
    }

    private static int Place(IList list, Base element)
    {
        for (var i = 0; i < list.Count; i++)
            if (ReferenceEquals(list[i], element))
                return i;
        throw new InvalidOperationException("The element found is not in its own list.");
    }
}
