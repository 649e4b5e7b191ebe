using System.Text.Json;
using System.Text.Unicode;

namespace RehabRecords.Fhir.Parsing;

/// <summary>Texts of a JSON body that are no text: the library reads such a body, and fails where somebody takes the text out.</summary>
internal static class JsonTexts
{
    /// <param name="json">Well-formed JSON of at most the allowed depth.</param>
    /// <returns>Whether every name and text is whole characters: valid UTF-8, and no half of a surrogate pair in an escape.</returns>
    public static bool AreWhole(ReadOnlySpan<byte> json, int maxDepth)
    {
        if (!Utf8.IsValid(json))
            return false;
        var reader = new Utf8JsonReader(json, new JsonReaderOptions { MaxDepth = maxDepth });
        try
        {
            while (reader.Read())
                if (reader.ValueIsEscaped)
                    _ = reader.GetString();
        }
        catch (InvalidOperationException)
        {
            return false;
        }

        return true;
    }
}
