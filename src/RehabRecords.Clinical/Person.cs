namespace RehabRecords.Clinical;

/// <summary>A side of the body. Both and None occur as an affected side or a dominant hand, never as the hand of a test.</summary>
public enum Side
{
    /// <summary>Left.</summary>
    Left,

    /// <summary>Right.</summary>
    Right,

    /// <summary>Both sides, or both hands alike.</summary>
    Both,

    /// <summary>Neither side.</summary>
    None,
}

/// <summary>Sex as recorded; published norms exist for female and male only.</summary>
public enum Sex
{
    /// <summary>Female.</summary>
    Female,

    /// <summary>Male.</summary>
    Male,

    /// <summary>Other.</summary>
    Other,

    /// <summary>Not known.</summary>
    Unknown,
}

/// <summary>What of a person decides which published row fits. Null means not recorded, and is said so in the result.</summary>
/// <param name="AffectedSide">Side affected by the stroke.</param>
/// <param name="DominantHand">Dominant hand before the stroke.</param>
/// <param name="Onset">Day of onset; with the day of a result it gives the days since.</param>
/// <param name="BirthDate">Day of birth, for norms by age.</param>
/// <param name="Sex">Sex, for norms.</param>
/// <param name="Condition">Condition the rows are matched to: "stroke" unless said otherwise.</param>
public sealed record PersonContext(
    Side? AffectedSide = null,
    Side? DominantHand = null,
    DateOnly? Onset = null,
    DateOnly? BirthDate = null,
    Sex? Sex = null,
    string Condition = "stroke")
{
    /// <summary>Whole days from onset to a day; null when the onset is not recorded or lies after it.</summary>
    public int? DaysSinceOnset(DateOnly day) =>
        Onset is { } onset && day >= onset ? day.DayNumber - onset.DayNumber : null;

    /// <summary>Age in completed years on a day; null when the birth date is not recorded or lies after it.</summary>
    public int? AgeOn(DateOnly day)
    {
        if (BirthDate is not { } birth || day < birth)
            return null;
        var years = day.Year - birth.Year;
        return birth.AddYears(years) > day ? years - 1 : years;
    }
}
