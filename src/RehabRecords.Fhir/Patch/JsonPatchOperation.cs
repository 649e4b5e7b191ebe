using System.Globalization;
using System.Text.Json;
using System.Text.Json.Nodes;
using Microsoft.AspNetCore.JsonPatch.SystemTextJson;

namespace RehabRecords.Fhir.Patch;

/// <summary>
/// One operation of a JSON Patch, read strictly: the library that carries it out passes over an operation it does not
/// know, and takes a missing value for null.
/// </summary>
/// <param name="Document">The operation as the library takes it.</param>
internal sealed record JsonPatchOperation(string Op, JsonPlace Path, JsonPlace? From, JsonNode? Value, JsonPatchDocument Document)
{
    /// <summary>The place from which it takes something away.</summary>
    public JsonPlace? Takes => Op switch { "remove" => Path, "move" => From, _ => null };

    public static (JsonPatchOperation? Operation, string Problem) Read(JsonNode? given)
    {
        if (given is not JsonObject members)
            return (null, "is no object with op and path.");
        if (Text(members, "op") is not ("add" or "remove" or "replace" or "move" or "copy" or "test") || Text(members, "op") is not { } op)
            return (null, $"has the op {members["op"]?.ToJsonString() ?? "(none)"}; it can be add, remove, replace, move, copy or test.");
        var growing = op is "add" or "move" or "copy";
        if (JsonPlace.Read(Text(members, "path"), growing) is not (var path and not null, _))
            return (null, $"has the path {members["path"]?.ToJsonString() ?? "(none)"}: {JsonPlace.Read(Text(members, "path"), growing).Problem}");
        JsonPlace? from = null;
        if (op is "move" or "copy")
        {
            (from, var problem) = JsonPlace.Read(Text(members, "from"), mayAppend: false);
            if (from is null)
                return (null, $"has the from {members["from"]?.ToJsonString() ?? "(none)"}: {problem}");
        }
        var valued = op is "add" or "replace" or "test";
        if (valued && !members.ContainsKey("value"))
            return (null, $"has no value; {op} needs one.");
        var value = valued ? members["value"] : null;

        var plain = new JsonObject { ["op"] = op, ["path"] = path.Text };
        if (from is not null)
            plain["from"] = from.Text;
        if (valued)
            plain["value"] = value?.DeepClone();
        return (new JsonPatchOperation(op, path, from, value, JsonSerializer.Deserialize<JsonPatchDocument>(new JsonArray(plain).ToJsonString())!), "");
    }

    public override string ToString() => From is null ? $"{Op} {Path.Text}" : $"{Op} {From.Text} to {Path.Text}";

    private static string? Text(JsonObject members, string name) => members[name] is JsonValue value && value.TryGetValue<string>(out var text) ? text : null;
}

/// <summary>A JSON Pointer (RFC 6901) into a resource.</summary>
internal sealed record JsonPlace(string Text, IReadOnlyList<string> Segments)
{
    /// <param name="mayAppend">Whether it may end in "-", the place after the last element of an array.</param>
    public static (JsonPlace? Place, string Problem) Read(string? text, bool mayAppend)
    {
        if (string.IsNullOrEmpty(text))
            return (null, "it names no place inside the resource. To replace all of it, use PUT.");
        if (text[0] != '/')
            return (null, "it must begin with '/'.");
        var segments = text[1..].Split('/');
        for (var i = 0; i < segments.Length; i++)
        {
            if (segments[i].Replace("~0", "", StringComparison.Ordinal).Replace("~1", "", StringComparison.Ordinal).Contains('~', StringComparison.Ordinal))
                return (null, "a '~' is written ~0, a '/' ~1.");
            if (segments[i] == "-" && !(mayAppend && i == segments.Length - 1))
                return (null, "'-' names the place after the last element, which only add, move and copy can fill.");
            // The library would read " 1", "+1" and "01" as 1.
            if (int.TryParse(segments[i], NumberStyles.Any, CultureInfo.InvariantCulture, out var number) && segments[i] != number.ToString(CultureInfo.InvariantCulture))
                return (null, $"'{segments[i]}' is no index; write {number}.");
            segments[i] = segments[i].Replace("~1", "/", StringComparison.Ordinal).Replace("~0", "~", StringComparison.Ordinal);
        }
        return (new JsonPlace(text, segments), "");
    }

    /// <summary>What stands at the place; null where there is nothing.</summary>
    public JsonNode? In(JsonObject document) => At(document, Segments.Count);

    /// <summary>What holds the place; null where there is nothing.</summary>
    public JsonNode? ParentIn(JsonObject document) => At(document, Segments.Count - 1);

    public static int DepthOf(JsonNode? node) => node switch
    {
        JsonObject members => 1 + members.Select(m => DepthOf(m.Value)).DefaultIfEmpty().Max(),
        JsonArray items => 1 + items.Select(DepthOf).DefaultIfEmpty().Max(),
        _ => 0,
    };

    private JsonNode? At(JsonObject document, int steps)
    {
        JsonNode? here = document;
        for (var i = 0; i < steps && here is not null; i++)
        {
            here = here switch
            {
                JsonObject members => members[Segments[i]],
                JsonArray items => int.TryParse(Segments[i], NumberStyles.None, CultureInfo.InvariantCulture, out var index) && index < items.Count ? items[index] : null,
                _ => null,
            };
        }
        return here;
    }
}
