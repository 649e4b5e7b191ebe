using System.Text.RegularExpressions;
using RehabRecords.Fhir;

namespace RehabRecords.Pages;

/// <summary>Refusals in the words of a page: what the fields of /api are called there, and without addresses that only programs use.</summary>
internal static partial class PageWords
{
    private static readonly (string Field, string Words)[] Fields =
    [
        ("althoughStale", "“why it is signed in spite of newer results”"),
        ("althoughUnresolved", "“why it is signed in spite of statements that need a look”"),
        ("by.registrationBody", "Body that keeps the register"),
        ("by.registration", "Registration number"),
        ("by.name", "Name"),
        ("by.role", "Professional role"),
        ("registrationBody", "Body that keeps the register"),
        ("grading.dimension", "In which respect"),
        ("grading.text", "What is to be done"),
    ];

    public static IReadOnlyList<string> Of(RefusedException refused) => [.. refused.Issues.Where(i => i.Refuses).Select(i => Of(i.Message)).Distinct()];

    public static string Of(string message)
    {
        var words = Addresses().Replace(message, "");
        foreach (var (field, said) in Fields)
            words = words.Replace(field, said, StringComparison.Ordinal);
        return words.Length == 0 ? words : char.ToUpperInvariant(words[0]) + words[1..];
    }

    [GeneratedRegex(@"\s*\((?:(?:POST|GET) )?/(?:api|docs)[^)]*\)|[;:.]\s*(?:read |use )?(?:POST|GET) /api/[^ ;.]+(?: [a-z' ]*)?(?=[.;])")]
    private static partial Regex Addresses();
}
