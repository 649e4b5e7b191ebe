using System.Text;
using System.Text.Json;
using System.Text.Json.Nodes;

namespace RehabRecords.Fuzz;

/// <summary>Ways to damage an input: byte by byte, word by word, and by the shape of its JSON.</summary>
internal static class Mutations
{
    private const int MaxLength = 300_000;

    public static byte[] Bytes(byte[] input, Chance chance, IReadOnlyList<byte[]> others, IReadOnlyList<string> words)
    {
        var bytes = new List<byte>(input);
        for (var times = chance.Between(1, 4); times > 0; times--)
        {
            var at = chance.Below(bytes.Count + 1);
            var length = Math.Min(chance.OneIn(4) ? chance.Below(2000) : chance.Below(16), bytes.Count - at);
            switch (chance.Below(9))
            {
                case 0 when at < bytes.Count:
                    bytes[at] ^= (byte)(1 << chance.Below(8));
                    break;
                case 1 when at < bytes.Count:
                    bytes[at] = chance.Byte();
                    break;
                case 2:
                    bytes.Insert(at, chance.Byte());
                    break;
                case 3:
                    bytes.RemoveRange(at, length);
                    break;
                case 4:
                    bytes.InsertRange(at, bytes.GetRange(at, length));
                    break;
                case 5:
                    bytes.InsertRange(at, Encoding.UTF8.GetBytes(chance.Of(words)));
                    break;
                case 6:
                    var word = Encoding.UTF8.GetBytes(chance.Of(words));
                    bytes.InsertRange(at, Enumerable.Repeat(word, chance.OneIn(20) ? 5000 : chance.Between(2, 100)).SelectMany(w => w));
                    break;
                case 7:
                    bytes.RemoveRange(at, bytes.Count - at);
                    break;
                default:
                    var other = chance.Of(others);
                    var from = chance.Below(other.Length + 1);
                    bytes.RemoveRange(at, bytes.Count - at);
                    bytes.AddRange(other.AsSpan(from));
                    break;
            }

            if (bytes.Count > MaxLength)
                bytes.RemoveRange(MaxLength, bytes.Count - MaxLength);
        }

        return [.. bytes];
    }

    /// <summary>Changes members and elements, and writes it out again; raw text is put in where no JSON library would write it.</summary>
    public static byte[] Json(byte[] input, Chance chance, IReadOnlyList<byte[]> others)
    {
        if (Parse(input) is not { } root)
            return input;
        var raw = new List<string>();
        for (var times = chance.Between(1, 5); times > 0; times--)
            Change(chance.Of(Nodes(root)), chance, others, raw);
        var text = root.ToJsonString();
        for (var i = 0; i < raw.Count; i++)
            text = text.Replace($"\"@@raw{i}@@\"", raw[i], StringComparison.Ordinal);
        return Encoding.UTF8.GetBytes(text.Length > MaxLength ? text[..MaxLength] : text);
    }

    private static void Change(JsonNode node, Chance chance, IReadOnlyList<byte[]> others, List<string> raw)
    {
        switch (node)
        {
            case JsonObject { Count: > 0 } o:
                var name = chance.Of(o.Select(p => p.Key).ToList());
                switch (chance.Below(7))
                {
                    case 0:
                        o.Remove(name);
                        break;
                    case 1:
                        o[name] = Value(chance, raw);
                        break;
                    case 2:
                        o[chance.OneIn(2) ? "_" + name : chance.Of(Dictionary.Texts)] = Value(chance, raw);
                        break;
                    case 3:
                        o[name] = o[name] is JsonArray a ? Clone(a.Count > 0 ? a[0] : null) : new JsonArray(Clone(o[name]));
                        break;
                    case 4 when Parse(chance.Of(others)) is { } other:
                        o[name] = Clone(chance.Of(Nodes(other)));
                        break;
                    case 5:
                        var deep = Clone(o[name]);
                        for (var levels = chance.OneIn(10) ? 70 : chance.Between(1, 8); levels > 0; levels--)
                            deep = new JsonObject { [name] = deep };
                        o[name] = deep;
                        break;
                    default:
                        var extension = new JsonObject { ["url"] = chance.Of(Dictionary.Texts), [chance.OneIn(2) ? "valueString" : "valueCode"] = chance.Of(Dictionary.Texts) };
                        o[chance.OneIn(5) ? "modifierExtension" : "extension"] = new JsonArray(extension);
                        break;
                }

                break;
            case JsonArray { Count: > 0 } list:
                var item = chance.Below(list.Count);
                if (chance.OneIn(3))
                    list.RemoveAt(item);
                else if (chance.OneIn(3))
                    list[item] = Value(chance, raw);
                else
                    for (var copies = Math.Min(chance.OneIn(30) ? 3000 : chance.Between(1, 4), Copies(list[item])); copies > 0; copies--)
                        list.Add(Clone(list[item]));
                break;
        }
    }

    /// <summary>Thousands of copies of what is large already would be cut off again, and cost gigabytes before.</summary>
    private static int Copies(JsonNode? item) => MaxLength / Math.Max(1, item?.ToJsonString().Length ?? 4);

    private static JsonValue? Value(Chance chance, List<string> raw)
    {
        if (chance.OneIn(3))
        {
            raw.Add(chance.Of(Dictionary.Raw));
            return JsonValue.Create($"@@raw{raw.Count - 1}@@");
        }

        var text = chance.Of(Dictionary.Texts);
        return JsonValue.Create(chance.OneIn(15) ? string.Concat(Enumerable.Repeat(text + "x", 5000)) : text);
    }

    private static JsonNode? Parse(byte[] json)
    {
        try
        {
            return JsonNode.Parse(json);
        }
        catch (JsonException)
        {
            return null;
        }
    }

    private static JsonNode? Clone(JsonNode? node) => node?.DeepClone();

    private static List<JsonNode> Nodes(JsonNode root)
    {
        var all = new List<JsonNode>();
        var waiting = new Stack<JsonNode>([root]);
        while (waiting.TryPop(out var node) && all.Count < 5000)
        {
            all.Add(node);
            foreach (var child in node switch { JsonObject o => o.Select(p => p.Value), JsonArray a => a, _ => Enumerable.Empty<JsonNode?>() })
                if (child is JsonObject or JsonArray)
                    waiting.Push(child);
        }

        return all;
    }
}
