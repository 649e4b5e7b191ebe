namespace RehabRecords.Clinical;

/// <summary>How a measure's values may be treated.</summary>
public enum ScaleKind
{
    /// <summary>A quantity such as time, force or speed: differences mean what they say.</summary>
    Quantity,

    /// <summary>A sum or mean score.</summary>
    Score,

    /// <summary>Coded grades: no arithmetic, categories only.</summary>
    Grades,
}

/// <summary>What a measure is taken of.</summary>
public enum Laterality
{
    /// <summary>One side at a time.</summary>
    PerSide,

    /// <summary>The person as a whole.</summary>
    WholePerson,
}

/// <summary>How trials become the value.</summary>
public enum TrialSummary
{
    /// <summary>A single trial.</summary>
    Single,

    /// <summary>Mean of the trials.</summary>
    Mean,

    /// <summary>Median over items.</summary>
    Median,

    /// <summary>Sum of items.</summary>
    Sum,
}

/// <summary>A code of another system for the same measure.</summary>
/// <param name="System">Canonical address of the code system.</param>
/// <param name="Code">Code.</param>
/// <param name="Display">Display, as the system prints it.</param>
/// <param name="Mark">How far it was confirmed; codes from memory are listed but not to be emitted.</param>
/// <param name="Side">Side it is for, when it names one.</param>
public sealed record Coding(string System, string Code, string Display, Mark Mark, Side? Side = null);

/// <summary>A measure of the catalogue: what is recorded and how it may be read.</summary>
/// <param name="Id">Id, a code of the FHIR mapping's measure system.</param>
/// <param name="Title">Name.</param>
/// <param name="Recorded">What is recorded, in own words.</param>
/// <param name="Unit">UCUM code of the unit.</param>
/// <param name="UnitText">Unit as a person reads it.</param>
/// <param name="Direction">Which way is better.</param>
/// <param name="Scale">How values may be treated.</param>
/// <param name="Laterality">What it is taken of.</param>
/// <param name="Source">Source of the definition.</param>
public sealed record MeasureDefinition(
    string Id, string Title, string Recorded, string Unit, string UnitText,
    Direction Direction, ScaleKind Scale, Laterality Laterality, Source Source)
{
    /// <summary>Place in the catalogue, from 1.</summary>
    public required int Order { get; init; }

    /// <summary>Smallest allowed value; null when open.</summary>
    public decimal? Minimum { get; init; }

    /// <summary>Largest allowed value; null when open.</summary>
    public decimal? Maximum { get; init; }

    /// <summary>Step; null when any value in range may occur.</summary>
    public decimal? Step { get; init; }

    /// <summary>What the side is of: hand, arm or side.</summary>
    public string SideText { get; init; } = "side";

    /// <summary>True when the measure is of one muscle group or movement, which each result must name.</summary>
    public bool NeedsSite { get; init; }

    /// <summary>True when the minimum itself is not allowed (a time of 0 s).</summary>
    public bool MinimumExcluded { get; init; }

    /// <summary>Decimals shown.</summary>
    public int Decimals { get; init; }

    /// <summary>Short name as clinicians write it.</summary>
    public string? ShortTitle { get; init; }

    /// <summary>Grades of a coded measure, in rising order of the scale.</summary>
    public IReadOnlyList<string> Grades { get; init; } = [];

    /// <summary>Number of trials the procedure asks for.</summary>
    public int Trials { get; init; } = 1;

    /// <summary>How trials become the value.</summary>
    public TrialSummary TrialSummary { get; init; }

    /// <summary>Whether a practice trial comes first, because later tests are known to come out better by practice alone.</summary>
    public bool PracticeEffect { get; init; }

    /// <summary>Statuses that may occur.</summary>
    public IReadOnlyList<MeasureStatus> Statuses { get; init; } = [];

    /// <summary>Known floor, in words.</summary>
    public string? Floor { get; init; }

    /// <summary>Known ceiling, in words.</summary>
    public string? Ceiling { get; init; }

    /// <summary>What to record when it could not be completed.</summary>
    public string? CouldNotComplete { get; init; }

    /// <summary>Version or protocol variants; the first is the default.</summary>
    public IReadOnlyList<string> Variants { get; init; } = [];

    /// <summary>Licence caveat.</summary>
    public string Licence { get; init; } = "";

    /// <summary>What a reader of the measure should know, each with its source.</summary>
    public IReadOnlyList<Remark> Remarks { get; init; } = [];

    /// <summary>Codes of other systems.</summary>
    public IReadOnlyList<Coding> Codings { get; init; } = [];

    /// <summary>Threshold rows.</summary>
    public IReadOnlyList<Threshold> Thresholds { get; init; } = [];

    /// <summary>Other units a value may be sent in, with the factor to the measure's unit.</summary>
    public IReadOnlyList<UnitFactor> OtherUnits { get; init; } = [];

    /// <summary>
    /// A number with the measure's decimals, as shown to a person, and one more where the value has it: a threshold of 5.5
    /// blocks shown as 6 would make a change of 5.5 look short of it.
    /// </summary>
    public string Format(decimal value)
    {
        var rounded = decimal.Round(value, Decimals, MidpointRounding.AwayFromZero);
        return value.ToString($"F{(rounded == value ? Decimals : Decimals + 1)}", System.Globalization.CultureInfo.InvariantCulture);
    }

    /// <summary>A number with its unit, as shown to a person.</summary>
    public string FormatWithUnit(decimal value) => $"{Format(value)} {UnitText}";

    /// <summary>A value turned to the measure's own unit; null when the unit is not one of the measure's.</summary>
    /// <param name="value">The value.</param>
    /// <param name="unit">UCUM unit it is in; null for the measure's own.</param>
    public decimal? InOwnUnit(decimal value, string? unit) =>
        unit is null || unit == Unit ? value
        : OtherUnits.FirstOrDefault(other => other.Unit == unit) is { } other ? value * other.Factor
        : null;

    /// <summary>
    /// The value of a completed result in the measure's own unit: the value sent, or else the summary of its trials by
    /// the measure's rule. Null when the test was not completed or gave no number.
    /// </summary>
    /// <exception cref="UnfitInputException">The result's unit is not one of the measure's.</exception>
    public decimal? ValueOf(MeasureResult result)
    {
        ArgumentNullException.ThrowIfNull(result);
        if (result.Status != MeasureStatus.Completed || (result.Value ?? Summary(result.Trials)) is not { } value)
            return null;
        return InOwnUnit(value, result.Unit) ?? throw new UnfitInputException("unit", result.Unit,
            string.Join(" or ", OtherUnits.Select(other => other.Unit).Prepend(Unit)), "record the value in one of these units");
    }

    /// <summary>The variant of a result: the one recorded, else the measure's first, which is the default; null where there are none.</summary>
    public string? VariantOf(MeasureResult result)
    {
        ArgumentNullException.ThrowIfNull(result);
        return result.Variant ?? (Variants.Count > 0 ? Variants[0] : null);
    }

    /// <summary>Trials summarised by the measure's rule: mean, median or sum; a single trial is the last one. Null without trials.</summary>
    public decimal? Summary(IReadOnlyList<decimal> trials)
    {
        ArgumentNullException.ThrowIfNull(trials);
        if (trials.Count == 0)
            return null;
        var sorted = trials.Order().ToList();
        return TrialSummary switch
        {
            TrialSummary.Mean => trials.Average(),
            TrialSummary.Median => (sorted[(sorted.Count - 1) / 2] + sorted[sorted.Count / 2]) / 2,
            TrialSummary.Sum => trials.Sum(),
            _ => trials[^1],
        };
    }
}

/// <summary>Something to know about a measure.</summary>
/// <param name="Text">In own words.</param>
/// <param name="Source">Source.</param>
public sealed record Remark(string Text, Source Source);

/// <summary>Another unit and its factor: value in the measure's unit = value in this unit × factor.</summary>
/// <param name="Unit">UCUM code.</param>
/// <param name="Factor">Factor.</param>
public sealed record UnitFactor(string Unit, decimal Factor);
