namespace RehabRecords.Clinical;

/// <summary>Prescribed amount for one occasion.</summary>
/// <param name="Sets">Sets; 1 or more.</param>
/// <param name="Repetitions">Repetitions per set; null when only time is prescribed.</param>
/// <param name="Minutes">Minutes; null when only repetitions are prescribed.</param>
/// <param name="HoldSeconds">Hold per repetition, seconds.</param>
/// <param name="RestSeconds">Rest between sets, seconds.</param>
public sealed record Dosage(int Sets = 1, int? Repetitions = null, decimal? Minutes = null, int? HoldSeconds = null, int? RestSeconds = null)
{
    /// <summary>Repetitions of one occasion: sets times repetitions.</summary>
    public int? RepetitionsPerOccasion => Repetitions is { } each ? Sets * each : null;
}

/// <summary>An offered way to make an exercise harder or easier.</summary>
/// <param name="Direction">Harder or easier.</param>
/// <param name="Dimension">The one thing that changes.</param>
/// <param name="Text">What to do.</param>
public sealed record Grading(GradingDirection Direction, GradingDimension Dimension, string Text);

/// <summary>Which way a grading goes.</summary>
public enum GradingDirection
{
    /// <summary>Easier.</summary>
    Easier,

    /// <summary>Harder.</summary>
    Harder,
}

/// <summary>The one thing a grading changes.</summary>
public enum GradingDimension
{
#pragma warning disable CS1591 // the names say it
    Speed, Vision, Object, Support, Precision, Range, HandRole, Sensory, Help, Repetitions,
#pragma warning restore CS1591
}

/// <summary>
/// A prescribed exercise with its schedule. A revised prescription is a second record with the same id and a later
/// schedule start; each holds until the day before the next one starts.
/// </summary>
/// <param name="Id">Id of the prescription; results name it.</param>
/// <param name="Exercise">Code of the exercise in the library.</param>
/// <param name="Title">Name in plain words.</param>
/// <param name="Dosage">Amount per occasion.</param>
/// <param name="Schedule">When it is due.</param>
/// <param name="Evidence">The caller's address of the prescription.</param>
public sealed record PlannedExercise(string Id, string Exercise, string Title, Dosage Dosage, Schedule Schedule, string Evidence)
{
    /// <summary>Help level prescribed.</summary>
    public HelpLevel? Help { get; init; }

    /// <summary>Offered ways to make it harder or easier.</summary>
    public IReadOnlyList<Grading> Gradings { get; init; } = [];

    /// <summary>Set when the exercise is low-risk, so that fewer successes make a step ahead.</summary>
    public bool LowRisk { get; init; }

    /// <summary>Set when a clinician has locked the level.</summary>
    public bool Locked { get; init; }
}
