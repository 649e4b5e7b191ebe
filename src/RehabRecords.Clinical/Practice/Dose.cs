namespace RehabRecords.Clinical;

/// <summary>What was practised of one exercise in one week of the programme. Sums hold only what was reported.</summary>
/// <param name="Planned">Id of the prescription.</param>
/// <param name="Exercise">Code of the exercise.</param>
/// <param name="Title">Name in plain words.</param>
/// <param name="Week">Week of the programme, from 1, counted in sevens from its first day.</param>
/// <param name="WeekStart">First day of that week.</param>
/// <param name="Repetitions">Repetitions reported; null when no report gave any.</param>
/// <param name="PurposefulRepetitions">Purposeful repetitions reported; null when no report gave any.</param>
/// <param name="Minutes">Minutes reported; null when no report gave any.</param>
/// <param name="PlannedRepetitions">Repetitions prescribed in the part of the week up to the last day counted; null when not prescribed in repetitions.</param>
/// <param name="PlannedMinutes">Minutes prescribed likewise.</param>
/// <param name="Occasions">Occasions on which the exercise was reported as done.</param>
/// <param name="WithoutAmount">Of these, occasions whose report gave neither repetitions nor minutes.</param>
/// <param name="Evidence">Addresses of prescription and results.</param>
public sealed record Dose(
    string Planned, string Exercise, string Title, int Week, DateOnly WeekStart,
    int? Repetitions, int? PurposefulRepetitions, decimal? Minutes, int? PlannedRepetitions, decimal? PlannedMinutes,
    int Occasions, int WithoutAmount, IReadOnlyList<string> Evidence)
{
    /// <summary>Repetitions done over prescribed, uncapped; null when either is missing or nothing was prescribed.</summary>
    public double? RepetitionRatio => Repetitions is { } done && PlannedRepetitions is > 0 and var due ? (double)done / due : null;

    /// <summary>As <see cref="RepetitionRatio"/>, at most 1.</summary>
    public double? RepetitionRatioCapped => RepetitionRatio is { } ratio ? Math.Min(1, ratio) : null;

    /// <summary>Minutes done over prescribed, uncapped.</summary>
    public double? MinuteRatio => Minutes is { } done && PlannedMinutes is > 0 and var due ? (double)(done / due) : null;

    /// <summary>As <see cref="MinuteRatio"/>, at most 1.</summary>
    public double? MinuteRatioCapped => MinuteRatio is { } ratio ? Math.Min(1, ratio) : null;

    /// <summary>In plain words.</summary>
    public string Text => throw new NotImplementedException();

    /// <summary>Dose of every exercise in every week from the programme's first day to the last day counted.</summary>
    public static IReadOnlyList<Dose> PerWeek(IReadOnlyList<PlannedExercise> plan, IReadOnlyList<SessionReport> reports, DateOnly to) =>
        throw new NotImplementedException();
}
