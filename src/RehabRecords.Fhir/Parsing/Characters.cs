namespace RehabRecords.Fhir.Parsing;

/// <summary>The characters a text of the record may hold: those of XML 1.0, so that every record can be given out as XML too.</summary>
internal static class Characters
{
    public const string NotACharacter = "The text contains a code point that is not a character (U+FFFE or U+FFFF). Remove it.";

    /// <summary>What is wrong with the text, or null.</summary>
    public static string? Refused(ReadOnlySpan<char> text)
    {
        foreach (var c in text)
        {
            if (c < ' ' && c is not ('\t' or '\n' or '\r'))
                return $"The text contains the control character U+{(int)c:X4}. Only tab, line feed and carriage return are accepted.";
            if (c >= '\uFFFE')
                return NotACharacter;
        }

        return null;
    }
}
