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
