using System.Globalization;
using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Search;

/// <summary>What a sort key may be: text, a whole number, or a number. What has none comes last, whichever way is sorted.</summary>
internal static class SortKeys
{
    public static object Missing(SortKey key) => key.Parameter.Kind switch
    {
        SearchParamType.Date => key.Descending ? long.MinValue : long.MaxValue,
        SearchParamType.Quantity or SearchParamType.Number => key.Descending ? double.MinValue : double.MaxValue,
        _ => key.Descending ? "" : "\U0010FFFF",
    };

    public static object Read(SortKey key, string text) => key.Parameter switch
    {
        { Code: "_id" } => text,
        { Kind: SearchParamType.Date } => long.Parse(text, CultureInfo.InvariantCulture),
        { Kind: SearchParamType.Quantity or SearchParamType.Number } => double.Parse(text, CultureInfo.InvariantCulture),
        _ => text,
    };

    public static string Write(object key) => key is double number ? number.ToString("R", CultureInfo.InvariantCulture) : Convert.ToString(key, CultureInfo.InvariantCulture)!;
}
