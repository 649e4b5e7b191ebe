namespace RehabRecords.Clinical;

/// <summary>Which version of a prescription holds when, and what it asks for.</summary>
internal static class PlanInForce
{
    /// <summary>
    /// The versions of each prescription, in order of their start, each ended the day before the next one starts. Of two
    /// with the same start the later one in the list replaces the other.
    /// </summary>
    public static IReadOnlyList<IReadOnlyList<PlannedExercise>> Versions(IReadOnlyList<PlannedExercise> plan)
    {
        ArgumentNullException.ThrowIfNull(plan);
        return [.. plan.GroupBy(exercise => exercise.Id).Select(group =>
        {
            var ordered = group.GroupBy(version => version.Schedule.Start).Select(same => same.Last()).OrderBy(version => version.Schedule.Start).ToList();
            return (IReadOnlyList<PlannedExercise>)[.. ordered.Select((version, i) => i + 1 < ordered.Count ? EndBefore(version, ordered[i + 1].Schedule.Start) : version)];
        })];
    }

    /// <summary>The version that holds on a day, or null.</summary>
    public static PlannedExercise? On(this IReadOnlyList<PlannedExercise> versions, DateOnly day) =>
        versions.LastOrDefault(version => version.Schedule.Start <= day && (version.Schedule.End is null || version.Schedule.End >= day));

    /// <summary>Occurrences of all versions that may be done between two days.</summary>
    public static List<DueOccurrence> Due(this IReadOnlyList<PlannedExercise> versions, DateOnly from, DateOnly to) =>
        [.. versions.SelectMany(version => version.Schedule.Due(from, to))];

    private static PlannedExercise EndBefore(PlannedExercise version, DateOnly next) =>
        version.Schedule.End is { } end && end < next ? version : version with { Schedule = version.Schedule with { End = next.AddDays(-1) } };
}
