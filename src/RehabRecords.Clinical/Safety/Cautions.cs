namespace RehabRecords.Clinical;

/// <summary>A caution of the catalogue. It is attached to an exercise by its code, and applies when the person has one of its precautions.</summary>
/// <param name="Code">Code of the caution system.</param>
/// <param name="Title">Name in plain words.</param>
/// <param name="Precautions">Person-wide precautions under which it applies; empty when it always applies.</param>
/// <param name="Text">What to watch for.</param>
/// <param name="Stop">Whether it is a stop rule.</param>
/// <param name="Source">Source.</param>
public sealed record Caution(string Code, string Title, IReadOnlyList<string> Precautions, string Text, bool Stop, Source Source)
{
    /// <summary>When it applies, in words; null when always.</summary>
    public string? Condition { get; init; }
}

/// <summary>A temperature limit.</summary>
/// <param name="Id">Id.</param>
/// <param name="Title">Of what.</param>
/// <param name="Celsius">Limit, degrees Celsius.</param>
/// <param name="Text">What the limit means.</param>
/// <param name="Source">Source.</param>
public sealed record TemperatureLimit(string Id, string Title, decimal Celsius, string Text, Source Source);

/// <summary>Cautions and temperature limits.</summary>
public static class Cautions
{
    private static readonly Lazy<CautionFile> Shipped = new(() => DataFile.Read<CautionFile>("Safety/cautions.json"));
    private static readonly Lazy<IReadOnlyList<TemperatureLimit>> Limits = new(() => DataFile.Read<TemperatureFile>("Safety/temperatures.json").Limits);

    /// <summary>All cautions.</summary>
    public static IReadOnlyList<Caution> Catalogue => Shipped.Value.Cautions;

    /// <summary>The line every list of cautions ends with; it defers to local policy and the registered clinician.</summary>
    public static string Closing => Shipped.Value.Closing;

    /// <summary>Temperature limits.</summary>
    public static IReadOnlyList<TemperatureLimit> Temperatures => Limits.Value;

    /// <summary>The cautions of an exercise that apply to a person, in order of the catalogue.</summary>
    /// <param name="onExercise">Codes of the cautions attached to the exercise.</param>
    /// <param name="ofPerson">Codes of the person's precautions. One that is not recorded cannot be ruled out: see <paramref name="recorded"/>.</param>
    /// <param name="recorded">Whether the person's precautions were assessed at all; when not, every caution of the exercise applies.</param>
    /// <exception cref="UnfitInputException">A caution code that the catalogue does not have.</exception>
    public static IReadOnlyList<Caution> For(IReadOnlyCollection<string> onExercise, IReadOnlyCollection<string> ofPerson, bool recorded = true)
    {
        ArgumentNullException.ThrowIfNull(onExercise);
        ArgumentNullException.ThrowIfNull(ofPerson);
        if (onExercise.FirstOrDefault(code => Catalogue.All(caution => caution.Code != code)) is { } unknown)
            throw new UnfitInputException("cautions", unknown, $"one of {string.Join(", ", Catalogue.Select(caution => caution.Code))}", "use a code of the catalogue");
        return [.. Catalogue.Where(caution => onExercise.Contains(caution.Code)
            && (!recorded || caution.Precautions.Count == 0 || caution.Precautions.Any(ofPerson.Contains)))];
    }

    private sealed record CautionFile(string Version, string Closing, IReadOnlyList<Caution> Cautions);

    private sealed record TemperatureFile(IReadOnlyList<TemperatureLimit> Limits);
}
