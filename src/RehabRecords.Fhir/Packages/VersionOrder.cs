using System.Globalization;

namespace RehabRecords.Fhir.Packages;

/// <summary>Orders business versions part by part, so that 1.10 is after 1.9; none at all is before any.</summary>
internal sealed class VersionOrder : IComparer<string?>
{
    public static VersionOrder Instance { get; } = new();

    public int Compare(string? x, string? y)
    {
        if (x is null || y is null)
            return (x is null ? 0 : 1) - (y is null ? 0 : 1);
        var (a, b) = (x.Split('.', '-'), y.Split('.', '-'));
        for (var i = 0; i < Math.Min(a.Length, b.Length); i++)
        {
            var numbers = long.TryParse(a[i], NumberStyles.None, CultureInfo.InvariantCulture, out var n) & long.TryParse(b[i], NumberStyles.None, CultureInfo.InvariantCulture, out var m);
            var order = numbers ? n.CompareTo(m) : string.CompareOrdinal(a[i], b[i]);
            if (order != 0)
                return order;
        }

        // 1.0.0-ballot comes before 1.0.0, but 1.0 before 1.0.1.
        var longer = a.Length > b.Length ? x : y;
        return a.Length == b.Length ? 0 : (longer.Contains('-', StringComparison.Ordinal) ? -1 : 1) * (a.Length > b.Length ? 1 : -1);
    }
}
