using AnyAscii;

namespace RehabRecords.Fhir.Search;

/// <summary>Text as it is compared in a string search: without case, accents or runs of white space.</summary>
public static class FoldedText
{
    public static string Of(string text) =>
        string.Join(' ', text.Transliterate().ToLowerInvariant().Split((char[]?)null, StringSplitOptions.RemoveEmptyEntries));
}
