using System.Globalization;
using System.Text.Json;

namespace RehabRecords.Pages.Caseload;

/// <summary>A few reads of stored FHIR JSON. Parsing whole resources would make the caseload of a large clinic slow to open.</summary>
internal static class JsonReads
{
    public static JsonElement? Child(this JsonElement json, string name) =>
        json.ValueKind == JsonValueKind.Object && json.TryGetProperty(name, out var child) ? child : null;

    public static JsonElement? First(this JsonElement json, string name) =>
        json.Child(name) is { ValueKind: JsonValueKind.Array } list && list.GetArrayLength() > 0 ? list[0] : null;

    public static string? Text(this JsonElement json, string name) =>
        json.Child(name) is { ValueKind: JsonValueKind.String } text ? text.GetString() : null;

    /// <summary>The day of a date or time as it was written, in its own offset; null when it names none.</summary>
    public static DateOnly? Day(this JsonElement json, params ReadOnlySpan<string> path)
    {
        JsonElement? at = json;
        foreach (var name in path[..^1])
            at = at?.Child(name);
        return at?.Text(path[^1]) is { Length: >= 10 } text
            && DateOnly.TryParseExact(text.AsSpan(0, 10), "yyyy-MM-dd", CultureInfo.InvariantCulture, DateTimeStyles.None, out var day) ? day : null;
    }

    /// <summary>The code that a list of concepts holds in a system.</summary>
    public static string? Coded(this JsonElement json, string name, string system)
    {
        if (json.Child(name) is not { ValueKind: JsonValueKind.Array } concepts)
            return null;
        foreach (var concept in concepts.EnumerateArray())
            if (concept.Child("coding") is { ValueKind: JsonValueKind.Array } codings)
                foreach (var coding in codings.EnumerateArray())
                    if (coding.Text("system") == system)
                        return coding.Text("code");
        return null;
    }

    /// <summary>Id of the Patient a resource is about.</summary>
    public static string? Person(this JsonElement json) =>
        (json.Child("subject") ?? json.Child("for"))?.Text("reference") is { } reference && reference.StartsWith("Patient/", StringComparison.Ordinal)
            ? reference["Patient/".Length..].Split('/')[0] : null;
}
