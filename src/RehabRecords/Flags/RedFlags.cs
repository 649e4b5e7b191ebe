using Hl7.Fhir.Model;
using RehabRecords.Clinical;
using RehabRecords.Library;
using RehabRecords.Terms;
using RehabRecords.Trade;

namespace RehabRecords.Flags;

/// <summary>Between a raised red flag and Flag.</summary>
internal static class RedFlags
{
    public static Flag ToFlag(this RaisedFlag raised, string person) => new()
    {
        Status = Flag.FlagStatus.Active,
        Category = [Concepts.Concept(Systems.FlagCategory, FlagCategory.RedFlag)],
        Code = Concepts.Concept(Systems.RedFlag, raised.Flag.Code, $"{raised.Flag.Title}: {raised.Reason}"),
        Subject = new ResourceReference($"Patient/{person}"),
        Period = new Period { StartElement = new FhirDateTime(raised.Since) },
        Extension = [new Extension(Extensions.FlagSource, new ResourceReference(Unversioned(raised.Evidence[0])))],
        Text = Readable.Of(
            PlainWords.Sentence($"Red flag: {raised.Flag.Title}"),
            PlainWords.Sentence($"Raised because: {raised.Reason}"),
            raised.Flag.Text),
    };

    public static bool IsRedFlag(this Flag flag) => flag.Category.Exists(c => c.CodeIn(Systems.FlagCategory) == FlagCategory.RedFlag);

    public static FlagAnswer ToAnswer(this Flag flag)
    {
        var code = flag.Code.CodeIn(Systems.RedFlag);
        var known = SafetyScreen.Catalogue.FirstOrDefault(f => f.Code == code);
        var cleared = flag.GetExtension(Extensions.FlagCleared);
        return new FlagAnswer
        {
            Id = flag.Id!,
            Flag = $"Flag/{flag.Id}",
            Person = flag.Subject?.Reference,
            Code = code,
            Title = flag.Code?.Text,
            Urgency = known?.Urgency.Code(),
            Text = known?.Text,
            Since = flag.Period?.Start,
            Status = flag.StatusElement?.JsonValue as string,
            FreezesProgression = flag.Status == Flag.FlagStatus.Active && known is not { Freezes: false },
            Source = flag.GetExtensionValue<ResourceReference>(Extensions.FlagSource)?.Reference,
            Cleared = cleared is null ? null : new ClearedAnswer(
                cleared.GetExtensionValue<FhirString>("by")?.Value,
                cleared.GetExtensionValue<Instant>("at")?.Value,
                cleared.GetExtensionValue<FhirString>("reason")?.Value),
        };
    }

    private static string Unversioned(string address)
    {
        var at = address.IndexOf("/_history/", StringComparison.Ordinal);
        return at < 0 ? address : address[..at];
    }
}

public sealed record FlagAnswer
{
    public required string Id { get; init; }

    public required string Flag { get; init; }

    public string? Person { get; init; }

    public string? Code { get; init; }

    public string? Title { get; init; }

    public string? Urgency { get; init; }

    public string? Text { get; init; }

    public string? Since { get; init; }

    public string? Status { get; init; }

    public bool FreezesProgression { get; init; }

    public string? Source { get; init; }

    public ClearedAnswer? Cleared { get; init; }
}

public sealed record ClearedAnswer(string? By, DateTimeOffset? At, string? Reason);
