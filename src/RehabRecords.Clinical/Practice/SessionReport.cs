namespace RehabRecords.Clinical;

/// <summary>Help given, in rising order.</summary>
public enum HelpLevel
{
    /// <summary>No help.</summary>
    Independent,

    /// <summary>Set-up only.</summary>
    SetUp,

    /// <summary>Verbal prompts.</summary>
    VerbalPrompt,

    /// <summary>Hands-on help.</summary>
    HandsOn,
}

/// <summary>Whether the exercise's own success criterion was met.</summary>
public enum Quality
{
    /// <summary>Met.</summary>
    Met,

    /// <summary>Partly met.</summary>
    PartlyMet,

    /// <summary>Not met.</summary>
    NotMet,
}

/// <summary>Why a session or exercise was not done.</summary>
public enum NotDoneReason
{
#pragma warning disable CS1591 // the names say it
    Fatigue, Pain, Unwell, NoCarer, NoTime, Forgot, NoEquipment, Appointment, Away, TooHard, Declined, Other,
#pragma warning restore CS1591
}

/// <summary>The two exertion scales. They are never mixed, averaged or converted.</summary>
public enum ExertionScale
{
    /// <summary>0 to 10 (values above 10 are allowed by the scale's author).</summary>
    ZeroToTen,

    /// <summary>6 to 20.</summary>
    SixToTwenty,
}

/// <summary>An exertion rating with its scale.</summary>
/// <param name="Scale">Scale the number belongs to.</param>
/// <param name="Value">Rating; 0 to 10 in steps of 0.5, or 6 to 20 in steps of 1.</param>
public sealed record Exertion(ExertionScale Scale, decimal Value);

/// <summary>What was reported of one exercise in one session. What was not reported is null, never 0.</summary>
/// <param name="Planned">Id of the prescribed exercise (<see cref="PlannedExercise.Id"/>).</param>
/// <param name="Evidence">The caller's address of this result; carried into every finding that used it.</param>
public sealed record ExerciseReport(string Planned, string Evidence)
{
    /// <summary>Set when the exercise was skipped; the doing is then empty.</summary>
    public NotDoneReason? Skipped { get; init; }

    /// <summary>Sets done.</summary>
    public int? Sets { get; init; }

    /// <summary>Repetitions done in the whole session, over all sets.</summary>
    public int? Repetitions { get; init; }

    /// <summary>Of these, repetitions towards the task's purpose; counted apart and never added.</summary>
    public int? PurposefulRepetitions { get; init; }

    /// <summary>Minutes of practice.</summary>
    public decimal? Minutes { get; init; }

    /// <summary>Help given.</summary>
    public HelpLevel? Help { get; init; }

    /// <summary>Side that practised.</summary>
    public Side? Side { get; init; }

    /// <summary>Pain before, 0 to 10.</summary>
    public int? PainBefore { get; init; }

    /// <summary>Pain during, 0 to 10.</summary>
    public int? PainDuring { get; init; }

    /// <summary>Pain after, 0 to 10.</summary>
    public int? PainAfter { get; init; }

    /// <summary>Exertion with its scale.</summary>
    public Exertion? Exertion { get; init; }

    /// <summary>Fatigue, 0 to 10.</summary>
    public int? Fatigue { get; init; }

    /// <summary>Quality against the success criterion.</summary>
    public Quality? Quality { get; init; }

    /// <summary>True when the exercise was not skipped.</summary>
    public bool Done => Skipped is null;
}

/// <summary>Harm reported with a session.</summary>
/// <param name="Kind">Code: fall, skin-injury, burn-or-scald, pain-flare, swelling, other.</param>
/// <param name="Severity">Code: mild, moderate, severe.</param>
/// <param name="Evidence">The caller's address of the report.</param>
public sealed record HarmReport(string Kind, string Severity, string Evidence);

/// <summary>One practice occasion, done or missed, as reported.</summary>
/// <param name="Evidence">The caller's address of the session.</param>
/// <param name="Day">The day it was done or planned for, in the programme's zone (see <see cref="Schedule.DayOf"/>).</param>
/// <param name="Done">False for a session reported as missed.</param>
public sealed record SessionReport(string Evidence, DateOnly Day, bool Done)
{
    /// <summary>Instant of doing; orders sessions of one day. Null for a missed session.</summary>
    public DateTimeOffset? DoneAt { get; init; }

    /// <summary>Why it was missed.</summary>
    public NotDoneReason? Reason { get; init; }

    /// <summary>When the report was entered; differs from the doing for late reports.</summary>
    public DateTimeOffset? RecordedAt { get; init; }

    /// <summary>Result of each exercise.</summary>
    public IReadOnlyList<ExerciseReport> Exercises { get; init; } = [];

    /// <summary>Red-flag codes the reporter ticked.</summary>
    public IReadOnlyList<string> RedFlags { get; init; } = [];

    /// <summary>Harm reported.</summary>
    public IReadOnlyList<HarmReport> Harms { get; init; } = [];
}
