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
/// <param name="Side">Side it is for, when it names one.</param>
/// <param name="Mark">How far it was confirmed; codes from memory are listed but not to be emitted.</param>
public sealed record Coding(string System, string Code, string Display, Side? Side, Mark Mark);

/// <summary>A measure of the catalogue: what is recorded and how it may be read.</summary>
/// <param name="Id">Id, a code of the FHIR mapping's measure system.</param>
/// <param name="Title">Name.</param>
/// <param name="Recorded">What is recorded, in own words.</param>
/// <param name="Unit">UCUM code of the unit.</param>
/// <param name="UnitText">Unit as a person reads it.</param>
/// <param name="Minimum">Smallest allowed value; null when open.</param>
/// <param name="Maximum">Largest allowed value; null when open.</param>
/// <param name="Step">Step; null when any value in range may occur.</param>
/// <param name="Direction">Which way is better.</param>
/// <param name="Scale">How values may be treated.</param>
/// <param name="Laterality">What it is taken of.</param>
/// <param name="Source">Source of the definition.</param>
public sealed record MeasureDefinition(
    string Id, string Title, string Recorded, string Unit, string UnitText,
    decimal? Minimum, decimal? Maximum, decimal? Step,
    Direction Direction, ScaleKind Scale, Laterality Laterality, Source Source)
{
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

    /// <summary>Codes of other systems.</summary>
    public IReadOnlyList<Coding> Codings { get; init; } = [];

    /// <summary>Threshold rows.</summary>
    public IReadOnlyList<Threshold> Thresholds { get; init; } = [];

    /// <summary>Other units a value may be sent in, with the factor to the measure's unit.</summary>
    public IReadOnlyList<UnitFactor> OtherUnits { get; init; } = [];
}

/// <summary>Another unit and its factor: value in the measure's unit = value in this unit × factor.</summary>
/// <param name="Unit">UCUM code.</param>
/// <param name="Factor">Factor.</param>
public sealed record UnitFactor(string Unit, decimal Factor);
