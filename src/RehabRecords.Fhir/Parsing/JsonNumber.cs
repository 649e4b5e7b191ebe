using System.Globalization;
using System.Text;

namespace RehabRecords.Fhir.Parsing;

/// <summary>Tells whether a number comes back out of the record as it went in.</summary>
internal static class JsonNumber
{
    /// <summary>Why the number would change, with the remedy; null when it stays as it is.</summary>
    public static string? WhyItWouldChange(ReadOnlySpan<byte> text)
    {
        // Numbers of up to 28 plain digits are kept exactly, with their zeros.
        if (text.Length <= 28 && !text.ContainsAny((byte)'e', (byte)'E') && text[0] != (byte)'-')
            return null;
        return WhyItWouldChange(Encoding.ASCII.GetString(text));
    }

    public static string? WhyItWouldChange(string text)
    {
        if (text.Contains('e', StringComparison.OrdinalIgnoreCase))
            return $"The number {Short(text)} has an exponent, which is not kept as written. Write it out in digits.";
        if (!decimal.TryParse(text, NumberStyles.AllowLeadingSign | NumberStyles.AllowDecimalPoint, CultureInfo.InvariantCulture, out var value)
            || value.ToString(CultureInfo.InvariantCulture) != text)
        {
            return text.StartsWith('-') && text.AsSpan(1).ContainsAnyExcept('0', '.') == false
                ? $"The number {text} is a negative zero, which is not kept as written. Write it without the sign."
                : $"The number {Short(text)} has more digits than are kept. Give at most 28 significant digits.";
        }

        return null;
    }

    private static string Short(string text) => text.Length <= 40 ? text : text[..40] + "...";
}
