using System.Globalization;

namespace RehabRecords.Notes;

/// <summary>How numbers, dates and lists are written for people: always the same, whatever the machine's settings.</summary>
internal static class Wording
{
    public static string Date(DateOnly date) => date.ToString("d MMMM yyyy", CultureInfo.InvariantCulture);

    public static string ShortDate(DateOnly date) => date.ToString("d MMM", CultureInfo.InvariantCulture);

    /// <summary>Up to <paramref name="decimals"/> decimals, halves away from zero, no trailing zeros, a true minus sign.</summary>
    public static string Number(double value, int decimals = 1) =>
        Number((decimal)Math.Round(value, decimals, MidpointRounding.AwayFromZero), decimals);

    public static string Number(decimal value, int decimals = 1)
    {
        var rounded = Math.Round(value, decimals, MidpointRounding.AwayFromZero);
        return rounded.ToString("0.######", CultureInfo.InvariantCulture).Replace('-', '−');
    }

    /// <summary>With the decimals kept, so that a column of times reads evenly: 62.0 s, 58.5 s.</summary>
    public static string Fixed(double value, int decimals) =>
        Math.Round((decimal)value, decimals, MidpointRounding.AwayFromZero)
            .ToString(decimals == 0 ? "0" : "0." + new string('0', decimals), CultureInfo.InvariantCulture).Replace('-', '−');

    /// <summary>A ratio as whole per cent.</summary>
    public static string Percent(double ratio) => $"{Number(ratio * 100, 0)} %";

    /// <summary>"1 session", "3 sessions".</summary>
    public static string Count(int number, string one, string? many = null) => $"{number} {(number == 1 ? one : many ?? one + "s")}";

    /// <summary>"a", "a and b", "a, b and c".</summary>
    public static string List(IEnumerable<string> items)
    {
        var all = items.ToList();
        return all.Count switch
        {
            0 => "",
            1 => all[0],
            _ => $"{string.Join(", ", all.SkipLast(1))} and {all[^1]}",
        };
    }

    /// <summary>Dates of one list with the year said once: "3 Mar, 5 Mar and 9 Mar 2026".</summary>
    public static string Dates(IEnumerable<DateOnly> dates)
    {
        var all = dates.Distinct().Order().ToList();
        return List(all.Select((d, i) => i == all.Count - 1 || all[i + 1].Year != d.Year ? $"{ShortDate(d)} {d.Year}" : ShortDate(d)));
    }

    /// <summary>"grip strength" to "Grip strength".</summary>
    public static string Capital(string words) => words.Length == 0 ? words : char.ToUpperInvariant(words[0]) + words[1..];

    /// <summary>A sentence ends once.</summary>
    public static string Sentence(string words)
    {
        var trimmed = words.Trim();
        return trimmed.Length == 0 || trimmed[^1] is '.' or '!' or '?' or '”' ? trimmed : trimmed + ".";
    }
}
