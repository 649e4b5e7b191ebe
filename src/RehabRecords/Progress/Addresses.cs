using Hl7.Fhir.Model;

namespace RehabRecords.Progress;

/// <summary>Exact versions as evidence, and the plain steps from FHIR's dates to ours.</summary>
internal static class Addresses
{
    /// <summary>The id, which every resource of the store (or about to enter it) has.</summary>
    public static string Identity(this Resource resource) =>
        resource.Id ?? throw new FormatException($"A {resource.TypeName} of the record has no id.");

    /// <summary>A resource that is not yet stored will be version 1.</summary>
    public static string Evidence(this Resource resource) =>
        $"{resource.TypeName}/{resource.Id}/_history/{(string.IsNullOrEmpty(resource.VersionId) ? "1" : resource.VersionId)}";

    /// <summary>The id a reference to one type names, whichever version; null for anything else.</summary>
    public static string? IdOf(this ResourceReference? reference, string type)
    {
        var parts = reference?.Reference?.Split('/');
        return parts is [var named, var id, ..] && named == type ? id : null;
    }

    public static DateOnly? Day(string? date) =>
        date is { Length: >= 10 } && DateOnly.TryParseExact(date[..10], "yyyy-MM-dd", out var day) ? day : null;

    /// <summary>An instant with its offset; null where only a day (or less) is recorded.</summary>
    public static DateTimeOffset? Instant(string? time) =>
        time is { Length: > 10 } && DateTimeOffset.TryParse(time, System.Globalization.CultureInfo.InvariantCulture, out var at) ? at : null;
}
