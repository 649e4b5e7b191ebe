using System.Buffers;
using System.Text.Encodings.Web;
using System.Text.Json;
using Hl7.Fhir.Model;
using Hl7.Fhir.Rest;
using Hl7.Fhir.Serialization;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Parsing;

namespace RehabRecords.Rest;

/// <summary>
/// How much of each resource is sent: <c>_summary</c> and <c>_elements</c>. What is sent in part is tagged SUBSETTED, and a
/// resource with that tag is never taken back as if it were the whole.
/// </summary>
internal sealed class Shown
{
    public const string Summary = "_summary";
    public const string Elements = "_elements";
    public static readonly string[] Parameters = [Summary, Elements];

    // A reader of a part must still be able to tell of what it is a part, and of which version.
    private static readonly string[] AlwaysSent = ["id", "meta"];
    private static readonly JsonWriterOptions Options = new() { Encoder = JavaScriptEncoder.UnsafeRelaxedJsonEscaping, SkipValidation = true };

    private readonly SummaryType _summary;
    private readonly string[] _elements;

    private Shown(SummaryType summary, string[] elements)
    {
        _summary = summary;
        _elements = elements;
    }

    /// <summary>Only the number of matches is wanted.</summary>
    public bool CountOnly => _summary == SummaryType.Count;

    public bool IsWhole => _summary is SummaryType.False or SummaryType.Count && _elements.Length == 0;

    /// <summary>The narrative alone; nothing can be sent along with it.</summary>
    public bool TextOnly => _summary == SummaryType.Text;

    /// <param name="type">The type asked for, which must have the elements named; null where there are several.</param>
    public static Shown Of(string? type, IReadOnlyList<KeyValuePair<string, string>> query, bool lenient)
    {
        var asked = query.Where(q => q.Key == Summary && q.Value.Length > 0).Select(q => q.Value).Distinct(StringComparer.Ordinal).ToList();
        if (asked.Count > 1)
            throw Wrong(Summary, $"{Summary} is given as {string.Join(" and ", asked)}; give one.");
        var summary = asked.FirstOrDefault() switch
        {
            null or "false" => SummaryType.False,
            "true" => SummaryType.True,
            "text" => SummaryType.Text,
            "data" => SummaryType.Data,
            "count" => SummaryType.Count,
            var other => throw Wrong(Summary, $"{Summary} is '{other}'; it can be true, text, data, count or false."),
        };
        var elements = query.Where(q => q.Key == Elements).SelectMany(q => q.Value.Split(',', StringSplitOptions.RemoveEmptyEntries | StringSplitOptions.TrimEntries)).ToList();
        if (elements.Count > 0 && summary is not (SummaryType.False or SummaryType.Count))
            throw Wrong(Elements, $"{Elements} and {Summary}={asked[0]} cut differently; give one of them.");
        if (elements.Count > 0 && type is null)
            throw Wrong(Elements, $"{Elements} names elements of one type, and this is about several. Ask for the history of a type, or use {Summary}.");
        var mapping = type is null ? null : ModelInfo.ModelInspector.FindClassMapping(type);
        if (mapping is not null && elements.Find(e => mapping.FindMappedElementByName(e) is null) is { } unknown && !lenient)
            throw Wrong(Elements, $"{type} has no element '{unknown}' at its first level. Name such elements in {Elements} as {type}'s definition does (value, not valueQuantity), separated by commas.");
        return new Shown(summary, [.. elements]);
    }

    /// <summary>For what is about one resource, where there is nothing to count.</summary>
    public static Shown OfOne(string type, IReadOnlyList<KeyValuePair<string, string>> query, bool lenient)
    {
        var shown = Of(type, query, lenient);
        return shown.CountOnly ? throw Wrong(Summary, $"{Summary}=count counts the matches of a search or history; a resource is read with true, text, data or false.") : shown;
    }

    /// <summary>The wanted part of a stored resource; its own bytes when the whole is wanted.</summary>
    public ReadOnlyMemory<byte> Of(ReadOnlyMemory<byte> stored)
    {
        if (IsWhole || stored.IsEmpty)
            return stored;
        var buffer = new ArrayBufferWriter<byte>(1024);
        using (var writer = new Utf8JsonWriter(buffer, Options))
            FhirJsonSerializer.Default.Serialize(ResourceReader.Trusted<Resource>(stored), writer, Filter);
        return buffer.WrittenMemory;
    }

    /// <summary>A resource that is sent along: elements are named of the matches only, a summary is of everything.</summary>
    public ReadOnlyMemory<byte> OfIncluded(ReadOnlyMemory<byte> stored) => _elements.Length > 0 ? stored : Of(stored);

    private SerializationFilter Filter() => _elements.Length > 0
        ? SerializationFilter.ForElements([.. AlwaysSent, .. _elements], includeMandatory: true)
        : _summary.GetSerializationFilter([], true)!;

    private static RefusedException Wrong(string parameter, string message) =>
        new(Refusal.Malformed, OperationOutcome.IssueType.Value, message, parameter);
}
