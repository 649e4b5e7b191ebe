using System.Globalization;

namespace RehabRecords.Library;

/// <summary>Versions of the library are one to three numbers: 1.10 is newer than 1.9.</summary>
internal static class LibraryVersions
{
    /// <param name="address">code|version of an item.</param>
    public static IEnumerable<T> Latest<T>(IEnumerable<T> items, Func<T, string> address) =>
        items.GroupBy(i => CodeOf(address(i)), StringComparer.Ordinal).Select(versions => versions.MaxBy(i => Rank(address(i)))!);

    public static IEnumerable<T> NewestFirst<T>(IEnumerable<T> versions, Func<T, string> address) => versions.OrderByDescending(v => Rank(address(v)));

    public static string CodeOf(string address) => address.Split('|')[0];

    /// <summary>Put in through /fhir a version need not be numbers; such a one counts as the oldest.</summary>
    private static (int, int, int) Rank(string address)
    {
        var numbers = address[(address.IndexOf('|', StringComparison.Ordinal) + 1)..].Split('.')
            .Select(part => int.TryParse(part, NumberStyles.None, CultureInfo.InvariantCulture, out var number) ? number : 0).ToList();
        return (numbers.ElementAtOrDefault(0), numbers.ElementAtOrDefault(1), numbers.ElementAtOrDefault(2));
    }
}
