namespace RehabRecords.Pages.Sheets;

/// <summary>
/// How hard the words of a sheet are to read, so that a therapist sees it while writing. The Automated Readability Index
/// (Senter and Smith 1967, AMRL-TR-66-220) needs no dictionary: 4.71 letters per word + 0.5 words per sentence − 21.43,
/// in school years of the United States; five more make the reading age. An estimate for English text, and no proof that it is understood.
/// </summary>
public static class Readability
{
    /// <summary>School years aimed at: reading age 11, the upper end of what the NHS content guide asks for (from memory).</summary>
    public const double Target = 6;

    /// <summary>Shorter texts say nothing reliable.</summary>
    private const int FewestWords = 30;

    /// <returns>School years, not below 0; null for a text of fewer than 30 words.</returns>
    public static double? Grade(string text)
    {
        ArgumentNullException.ThrowIfNull(text);
        var words = text.Split((char[]?)null, StringSplitOptions.RemoveEmptyEntries).Select(w => w.Count(char.IsLetterOrDigit)).Where(letters => letters > 0).ToList();
        if (words.Count < FewestWords)
            return null;
        var sentences = Math.Max(1, text.Split(['.', '!', '?', ';', ':', '\n'], StringSplitOptions.RemoveEmptyEntries).Count(s => s.Any(char.IsLetterOrDigit)));
        return Math.Max(0, 4.71 * words.Sum() / words.Count + 0.5 * words.Count / sentences - 21.43);
    }

    public static int Age(double grade) => (int)Math.Round(grade + 5, MidpointRounding.AwayFromZero);
}
