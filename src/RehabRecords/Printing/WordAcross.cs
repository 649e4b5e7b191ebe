using System.Globalization;
using System.Text;

namespace RehabRecords.Printing;

/// <summary>
/// A word that lies across a page, drawn as strokes and not set as text: text would get between the lines of what is read
/// aloud, searched or copied from the file.
/// </summary>
internal static class WordAcross
{
    private const int Advance = 6;

    /// <summary>Each letter in a box of 4 by 6.</summary>
    private static readonly Dictionary<char, string> Strokes = new()
    {
        ['A'] = "M0 6L2 0L4 6M.7 4H3.3",
        ['D'] = "M0 0V6H1.5Q4 6 4 3Q4 0 1.5 0Z",
        ['E'] = "M4 0H0V6H4M0 3H3",
        ['F'] = "M4 0H0V6M0 3H3",
        ['I'] = "M2 0V6",
        ['N'] = "M0 6V0L4 6V0",
        ['O'] = "M2 0Q4 0 4 3Q4 6 2 6Q0 6 0 3Q0 0 2 0Z",
        ['R'] = "M0 6V0H2.2Q4 0 4 1.6Q4 3.2 2.2 3.2H0M2.2 3.2L4 6",
        ['T'] = "M0 0H4M2 0V6",
        [' '] = "",
    };

    /// <summary>Styles that draw the word on every page, behind the text. Its letters must be among those drawn here.</summary>
    public static string Style(string word)
    {
        var drawn = new StringBuilder();
        foreach (var (place, letter) in word.Index())
            drawn.Append(CultureInfo.InvariantCulture, $"<path transform='translate({place * Advance + 1} 1)' d='{Strokes[letter]}'/>");
        var svg = $"<svg xmlns='http://www.w3.org/2000/svg' width='{word.Length * 3.1:0.0}cm' height='4.2cm' viewBox='0 0 {word.Length * Advance} 8' fill='none' stroke='#000' stroke-width='.9' stroke-linejoin='round'>{drawn}</svg>";
        // More specific than the page's own rule for a draft, which sets the word as text.
        return $$"""

            body:not(#none)::before { content: url("data:image/svg+xml,{{Uri.EscapeDataString(svg)}}"); position: fixed; inset: 0; display: grid; place-items: center; opacity: .09;
              transform: rotate(-38deg); pointer-events: none; }
            """;
    }
}
