namespace RehabRecords.Fhir.Search;

/// <summary>In search values a backslash takes the meaning from "," "|" "$" and itself.</summary>
internal static class EscapedText
{
    public static IEnumerable<string> Split(string text, char at)
    {
        var start = 0;
        for (var i = 0; i < text.Length; i++)
        {
            if (text[i] == '\\')
            {
                i++;
            }
            else if (text[i] == at)
            {
                yield return text[start..i];
                start = i + 1;
            }
        }

        yield return text[start..];
    }

    public static string Plain(string text)
    {
        if (!text.Contains('\\', StringComparison.Ordinal))
            return text;
        var plain = new System.Text.StringBuilder(text.Length);
        for (var i = 0; i < text.Length; i++)
        {
            if (text[i] == '\\' && i + 1 < text.Length)
                i++;
            plain.Append(text[i]);
        }

        return plain.ToString();
    }
}
