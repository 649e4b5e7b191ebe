using System.Collections.Concurrent;
using System.Text;

namespace RehabRecords.Clinical;

/// <summary>
/// The code of a closed vocabulary: the enum's name in lower case with hyphens (<c>StoppedAtLimit</c> is
/// <c>stopped-at-limit</c>), as the code systems of the FHIR mapping spell it.
/// </summary>
public static class Codes
{
    private static readonly ConcurrentDictionary<Type, Dictionary<string, Enum>> ByType = new();

    /// <summary>The code of a value.</summary>
    public static string Code<T>(this T value) where T : struct, Enum => Hyphenated(value.ToString());

    /// <summary>The value of a code.</summary>
    /// <exception cref="UnfitInputException">The code is not one of the vocabulary; the message lists those that are.</exception>
    public static T Parse<T>(string code, string element = "code") where T : struct, Enum =>
        TryParse<T>(code) ?? throw new UnfitInputException(element, code, $"one of {string.Join(", ", All<T>())}", "use one of these codes");

    /// <summary>The value of a code, or null when the vocabulary does not have it.</summary>
    public static T? TryParse<T>(string? code) where T : struct, Enum =>
        code is not null && Table<T>().TryGetValue(code, out var value) ? (T)value : null;

    /// <summary>All codes of a vocabulary, in the order of its enum.</summary>
    public static IReadOnlyList<string> All<T>() where T : struct, Enum => [.. Enum.GetValues<T>().Select(Code)];

    private static Dictionary<string, Enum> Table<T>() where T : struct, Enum =>
        ByType.GetOrAdd(typeof(T), static _ => Enum.GetValues<T>().ToDictionary(Code, value => (Enum)value));

    private static string Hyphenated(string name)
    {
        var code = new StringBuilder(name.Length + 4);
        foreach (var letter in name)
        {
            if (char.IsUpper(letter) && code.Length > 0)
                code.Append('-');
            code.Append(char.ToLowerInvariant(letter));
        }
        return code.ToString();
    }
}
