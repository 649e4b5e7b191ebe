using System.Text.Json;
using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Parsing;

namespace RehabRecords.Fhir.Patch;

/// <summary>JSON Patch (RFC 6902) on the JSON form of a resource.</summary>
internal sealed class JsonPatch : ResourcePatch
{
    // Copies of copies double a document with every operation, so what is copied in one patch is bounded.
    private const int MostCopied = 1024 * 1024;

    private readonly IReadOnlyList<JsonPatchOperation> _operations;
    private readonly string _at;

    private JsonPatch(IReadOnlyList<JsonPatchOperation> operations, string at)
    {
        _operations = operations;
        _at = at;
    }

    /// <param name="at">Expression of the place the patch stands at, for errors.</param>
    public static JsonPatch Parse(ReadOnlySpan<byte> body, string at)
    {
        JsonNode? read;
        try
        {
            if (!JsonTexts.AreWhole(body, ReadLimits.Default.MaxDepth))
                throw Malformed("The patch holds a name or a text that is not whole characters: bytes that are not UTF-8, or half of a surrogate pair. Send whole characters.", at, OperationOutcome.IssueType.Value);
            read = JsonNode.Parse(body, documentOptions: new JsonDocumentOptions { MaxDepth = ReadLimits.Default.MaxDepth, AllowDuplicateProperties = false });
        }
        catch (JsonException e)
        {
            throw Malformed("The patch is not JSON: " + e.Message, at, OperationOutcome.IssueType.Structure);
        }
        if (read is not JsonArray operations)
            throw Malformed("""A JSON Patch is an array of operations, such as [{"op":"replace","path":"/status","value":"final"}].""", at, OperationOutcome.IssueType.Structure);
        RefuseTooMany(operations.Count, at);
        return new JsonPatch([.. operations.Select((operation, index) =>
            JsonPatchOperation.Read(operation) is var (done, problem) && done is not null
                ? done
                : throw Malformed($"Operation {index + 1} of the patch {problem}", at))], at);
    }

    internal override Resource Apply(ReadOnlyMemory<byte> json) =>
        ResourceReader.Read(JsonSerializer.SerializeToUtf8Bytes(ApplyTo(JsonNode.Parse(json.Span)!.AsObject())), FhirFormat.Json);

    /// <summary>The operations on any JSON document; FHIR has no empty lists and objects, so those that became empty go.</summary>
    internal JsonObject ApplyTo(JsonObject document)
    {
        var emptied = new List<JsonNode>();
        var copied = 0;
        for (var i = 0; i < _operations.Count; i++)
        {
            var operation = _operations[i];
            if (Bound(operation, document, ref copied) is { } problem)
                throw Impossible($"Operation {i + 1} ({operation}) {problem}", _at);
            if (operation.Takes is { } taken && taken.ParentIn(document) is { } container)
                emptied.Add(container);
            try
            {
                operation.Document.ApplyTo(document);
            }
#pragma warning disable CA1031 // The library throws exceptions of many kinds at operations that do not fit; none of them is a fault of ours.
            catch (Exception e) when (e is not OutOfMemoryException)
#pragma warning restore CA1031
            {
                throw Impossible($"Operation {i + 1} ({operation}) cannot be done: {e.Message}", _at);
            }
        }
        foreach (var node in emptied)
            Prune(node);
        RefuseShifted(document, "");
        return document;
    }

    private static string? Bound(JsonPatchOperation operation, JsonObject document, ref int copied)
    {
        var placed = operation.Value;
        if (operation.From is { } from)
        {
            placed = from.In(document);
            if (operation.Op == "copy" && placed is not null && (copied += placed.ToJsonString().Length) > MostCopied)
                return $"copies more than {MostCopied} characters in all. Send the whole resource with PUT.";
        }
        return operation.Path.Segments.Count + JsonPlace.DepthOf(placed) > ReadLimits.Default.MaxDepth
            ? $"nests deeper than {ReadLimits.Default.MaxDepth} levels."
            : null;
    }

    private static void Prune(JsonNode node)
    {
        while (node is JsonObject { Count: 0 } or JsonArray { Count: 0 } && node.Parent is { } parent)
        {
            if (parent is JsonObject members)
                members.Remove(node.GetPropertyName());
            else
                parent.AsArray().RemoveAt(node.GetElementIndex());
            node = parent;
        }
    }

    // Values of a primitive list and their ids and extensions are two lists that lie side by side. A patch that changes the
    // length of one alone would give an extension to another value than it was said of.
    private void RefuseShifted(JsonNode node, string path)
    {
        if (node is JsonArray array)
        {
            for (var i = 0; i < array.Count; i++)
                if (array[i] is { } item)
                    RefuseShifted(item, $"{path}/{i}");
        }
        if (node is not JsonObject members)
            return;
        foreach (var (name, value) in members)
        {
            if (name.StartsWith('_') && value is JsonArray extras && members[name[1..]] is JsonArray values && extras.Count != values.Count)
                throw Impossible($"After the patch {path}/{name[1..]} has {values.Count} values and {path}/{name} {extras.Count}; they belong together in pairs. Patch both, with null where a value has no extension.", _at);
            if (value is not null)
                RefuseShifted(value, $"{path}/{name}");
        }
    }
}
