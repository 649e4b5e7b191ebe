using System.Text.RegularExpressions;
using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Validation;

/// <summary>What a literal reference says about its target, read from the text alone.</summary>
/// <param name="Text">The reference as written.</param>
/// <param name="Base">The server part of an absolute one, with its closing slash; empty for a relative one.</param>
/// <param name="Type">Resource type, or null when the text does not tell (urn:uuid and the like).</param>
/// <param name="Version">Version, when the reference names one.</param>
public sealed partial record LiteralReference(string Text, string Base, string? Type, string? Id, string? Version)
{
    public bool IsContained => Text.StartsWith('#');

    /// <summary>True for Type/id: a resource of the same server.</summary>
    public bool IsLocal => Base.Length == 0 && Type is not null;

    /// <summary>True for a text without scheme that is not Type/id either.</summary>
    public bool IsUnreadable => Type is null && !IsContained && !Text.Contains(':', StringComparison.Ordinal) && !Text.Contains('?', StringComparison.Ordinal);

    /// <summary>True for Type?query, which only a transaction resolves.</summary>
    public bool IsConditional => Type is null && Text.Contains('?', StringComparison.Ordinal) && !Text.Contains(':', StringComparison.Ordinal);

    /// <summary>The reference without its version.</summary>
    public string Unversioned => Type is null ? Text : $"{Base}{Type}/{Id}";

    internal static string Unreadable(string text) => $"The reference {text} is neither Type/id nor an absolute address.";

    public static LiteralReference Of(string text)
    {
        ArgumentNullException.ThrowIfNull(text);
        var match = Rest().Match(text);
        return match.Success && ModelInfo.IsKnownResource(match.Groups["type"].Value)
            ? new(text, match.Groups["base"].Value, match.Groups["type"].Value, match.Groups["id"].Value, match.Groups["version"] is { Success: true } v ? v.Value : null)
            : new(text, "", null, null, null);
    }

    [GeneratedRegex(@"^(?<base>(https?://[^\s?#]+/)?)(?<type>[A-Z][A-Za-z]+)/(?<id>[A-Za-z0-9\-.]{1,64})(/_history/(?<version>[A-Za-z0-9\-.]{1,64}))?(#.*)?$", RegexOptions.ExplicitCapture, 250)]
    private static partial Regex Rest();
}
