using System.Security.Cryptography;

namespace RehabRecords.Tests.Telemetry;

/// <summary>Words and numbers that stand nowhere else, so that each is known again wherever it turns up.</summary>
internal sealed class Marks
{
    private readonly List<(string What, string Value)> _all = [];

    /// <summary>A word for a kind of thing.</summary>
    public string this[string what] => Add(what, $"Mk7Q{what.Replace(" ", "", StringComparison.Ordinal)}{Convert.ToHexStringLower(RandomNumberGenerator.GetBytes(4))}");

    public int Count => _all.Count;

    /// <summary>A number of ten digits, as national identifiers have.</summary>
    public string Number(string what) => Add(what, $"{RandomNumberGenerator.GetInt32(100_000, 1_000_000)}{RandomNumberGenerator.GetInt32(1000, 10_000)}");

    /// <summary>Something that was made elsewhere and must not turn up either, such as a token.</summary>
    public string Add(string what, string value)
    {
        _all.Add((what, value));
        return value;
    }

    /// <summary>Which of them stand in a text, with what stands around them.</summary>
    public List<string> In(string text) =>
    [
        .. from mark in _all
           let at = text.IndexOf(mark.Value, StringComparison.OrdinalIgnoreCase)
           where at >= 0
           select $"{mark.What} '{mark.Value}' in: …{text[Math.Max(0, at - 300)..Math.Min(text.Length, at + mark.Value.Length + 100)]}…",
    ];
}
