namespace RehabRecords.Clinical;

/// <summary>What a threshold says.</summary>
public enum ThresholdKind
{
    /// <summary>Minimal detectable change: the measurement error of one person. MDC, SRD, SDD and SDC are the same thing.</summary>
    Detectable,

    /// <summary>Minimal clinically important change: what people or clinicians call better, on average of a group.</summary>
    Important,
}

/// <summary>The hand a threshold row was found for.</summary>
public enum HandRole
{
    /// <summary>Any, or the measure has no side.</summary>
    Any,

    /// <summary>More affected hand.</summary>
    MoreAffected,

    /// <summary>Less affected hand.</summary>
    LessAffected,

    /// <summary>Affected hand that is the dominant one.</summary>
    AffectedDominant,

    /// <summary>Affected hand that is not the dominant one.</summary>
    AffectedNonDominant,

    /// <summary>Dominant hand, whichever is affected.</summary>
    Dominant,

    /// <summary>Non-dominant hand, whichever is affected.</summary>
    NonDominant,
}

/// <summary>Whom a threshold row was found in.</summary>
/// <param name="Condition">Condition, such as "stroke".</param>
/// <param name="Text">In words, with the phase.</param>
/// <param name="FromDay">First day since onset it speaks for; null when open.</param>
/// <param name="ToDay">Last day since onset it speaks for; null when open.</param>
/// <param name="WindowMark">Whether the day window is the paper's own (published) or was set here (common practice); null without a window.</param>
public sealed record Population(string Condition, string Text, int? FromDay = null, int? ToDay = null, Mark? WindowMark = null);

/// <summary>One published threshold, in the measure's unit or in per cent of the first value.</summary>
/// <param name="Id">Id within the measure, such as <c>chen-2009-more-affected</c>.</param>
/// <param name="Kind">Detectable or important.</param>
/// <param name="Hand">Hand it was found for.</param>
/// <param name="Population">Whom it was found in.</param>
/// <param name="Method">Anchor, distribution, test-retest.</param>
/// <param name="Source">Citation and mark.</param>
public sealed record Threshold(string Id, ThresholdKind Kind, HandRole Hand, Population Population, string Method, Source Source)
{
    /// <summary>Threshold in the measure's unit; where a range is published, its cautious (larger) end. Null for a row in per cent.</summary>
    public decimal? Value { get; init; }

    /// <summary>Smaller end of a published range; null when one value is published.</summary>
    public decimal? RangeFrom { get; init; }

    /// <summary>Threshold in per cent of the first value; null for a row in units.</summary>
    public decimal? Percent { get; init; }

    /// <summary>Confidence level in per cent, 90 or 95, for detectable change; null for important change.</summary>
    public int? Level { get; init; }

    /// <summary>Number of people; null when not known.</summary>
    public int? N { get; init; }

    /// <summary>Procedure variant it belongs to; null for any.</summary>
    public string? Variant { get; init; }
}

/// <summary>The row the engine picked, and why.</summary>
/// <param name="Row">The row.</param>
/// <param name="Value">The threshold in the measure's unit for this pair of results.</param>
/// <param name="Why">Why this row.</param>
/// <param name="Misfit">What does not match the person ("different population: ..."); null when all matches.</param>
public sealed record ThresholdChoice(Threshold Row, decimal Value, string Why, string? Misfit);
