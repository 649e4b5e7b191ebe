using System.Globalization;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Fhir;

/// <summary>The weak entity tag by which a version of a resource is named, as <c>W/"3"</c>.</summary>
public static class VersionTag
{
    public static string Of(int version) => string.Create(CultureInfo.InvariantCulture, $"W/\"{version}\"");

    /// <summary>Reads <c>W/"3"</c> or <c>"3"</c>; null for anything else.</summary>
    public static int? Read(string? tag)
    {
        var text = (tag ?? "").Trim();
        if (text.StartsWith("W/", StringComparison.Ordinal))
            text = text[2..];
        return text.Length > 2 && text[0] == '"' && text[^1] == '"'
            && int.TryParse(text.AsSpan(1, text.Length - 2), NumberStyles.None, CultureInfo.InvariantCulture, out var version) && version > 0
            ? version
            : null;
    }

    /// <summary>
    /// Refuses a change that was not made from the current version. A record of care is never overwritten by somebody
    /// who has not seen what it says now, so a change without a version is refused too.
    /// </summary>
    public static void Require(RecordVersion current, string? tag, string expression = "")
    {
        if (string.IsNullOrWhiteSpace(tag) || tag.Trim() == "*")
            throw new RefusedException(Refusal.VersionNotNamed, OperationOutcome.IssueType.Required,
                $"{current.Address} exists at version {current.Version}. Read it, then name the version the change was made from: If-Match: {Of(current.Version)}.", expression)
            { CurrentVersion = current.Version };
        if (Read(tag) is not { } version)
            throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.Value,
                $"If-Match '{tag}' names no version. Give one version, as {Of(current.Version)}.", expression);
        if (version != current.Version)
            throw new RefusedException(Refusal.StaleVersion, OperationOutcome.IssueType.Conflict,
                $"{current.Address} is at version {current.Version}, the change was made from version {version}. Read it again and decide anew.", expression)
            { CurrentVersion = current.Version };
    }
}
