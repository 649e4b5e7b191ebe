namespace RehabRecords.Clinical;

/// <summary>How a change stands to measurement error and importance.</summary>
public enum ChangeClass
{
    /// <summary>Below the minimal detectable change.</summary>
    BelowDetectable,

    /// <summary>Detectable change reached, important change not.</summary>
    DetectableBelowImportant,

    /// <summary>Important change reached, but inside measurement error.</summary>
    ImportantWithinError,

    /// <summary>Both reached.</summary>
    Both,

    /// <summary>Detectable change reached; no important change is published that could be used.</summary>
    DetectableImportanceUnknown,

    /// <summary>Important change not reached; no detectable change is published that could be used.</summary>
    BelowImportantErrorUnknown,

    /// <summary>Important change reached; no detectable change is published that could be used.</summary>
    ImportantErrorUnknown,

    /// <summary>Crosses "could not complete", or moves between grades: a change of category, not a number.</summary>
    CategoryChange,

    /// <summary>Same category before and after, without two values to compare.</summary>
    SameCategory,

    /// <summary>A numeric change for which the catalogue has no usable threshold.</summary>
    NoThreshold,
}

/// <summary>Which way a change went.</summary>
public enum ChangeDirection
{
    /// <summary>Better.</summary>
    Improved,

    /// <summary>Worse.</summary>
    Worsened,

    /// <summary>The same.</summary>
    Unchanged,

    /// <summary>Cannot be called better or worse.</summary>
    Undirected,
}

/// <summary>The change between two results of one measure on one side.</summary>
/// <param name="Measure">The measure.</param>
/// <param name="Side">Side tested; null for the whole person.</param>
/// <param name="First">Earlier result.</param>
/// <param name="Last">Later result.</param>
/// <param name="Class">How it stands to the thresholds.</param>
/// <param name="Direction">Which way.</param>
/// <param name="Difference">Last minus first in the measure's unit; null for a change of category.</param>
/// <param name="Detectable">Row used for measurement error, and why.</param>
/// <param name="Important">Row used for importance, and why.</param>
/// <param name="Notes">What a reader must know: different population, practice effect, substituted limits.</param>
/// <param name="Text">In plain words.</param>
/// <param name="Evidence">Addresses of both results.</param>
public sealed record MeasureChange(
    MeasureDefinition Measure, Side? Side, MeasureResult First, MeasureResult Last,
    ChangeClass Class, ChangeDirection Direction, decimal? Difference,
    ThresholdChoice? Detectable, ThresholdChoice? Important,
    IReadOnlyList<string> Notes, string Text, IReadOnlyList<string> Evidence)
{
    /// <summary>Classifies the change between two results.</summary>
    /// <exception cref="UnfitInputException">The results are not of this measure, or of different sides, sites or variants.</exception>
    public static MeasureChange Between(MeasureDefinition measure, MeasureResult first, MeasureResult last, PersonContext person) =>
        throw new NotImplementedException();

    /// <summary>
    /// First-to-last change of every measure, side, site and variant that has two results or more; in order of the catalogue.
    /// </summary>
    public static IReadOnlyList<MeasureChange> All(MeasureCatalogue catalogue, IReadOnlyList<MeasureResult> results, PersonContext person) =>
        throw new NotImplementedException();
}
