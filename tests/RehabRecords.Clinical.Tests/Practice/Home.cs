namespace RehabRecords.Clinical.Tests;

/// <summary>An invented home programme, starting on Monday 5 January 2026, to build tests on.</summary>
internal static class Home
{
    public static readonly DateOnly Start = new(2026, 1, 5);

    public static DateOnly Day(int day) => Start.AddDays(day - 1);

    public static Schedule Daily(DateOnly? start = null) => new(start ?? Start, "Europe/London");

    public static PlannedExercise Exercise(string id = "pegs", Schedule? schedule = null, Dosage? dosage = null) =>
        new(id, id, $"Exercise {id}", dosage ?? new Dosage(2, 10), schedule ?? Daily(), $"{id}/plan");

    public static DateTimeOffset At(int day, int hour = 10) => new(Day(day).ToDateTime(new TimeOnly(hour, 0)), TimeSpan.Zero);

    public static SessionReport Done(int day, params ExerciseReport[] exercises) => Done(day, 10, exercises);

    public static SessionReport Done(int day, int hour, params ExerciseReport[] exercises) =>
        new($"session/{day}/{hour}", Day(day), true) { DoneAt = At(day, hour), Exercises = exercises };

    public static SessionReport Missed(int day, NotDoneReason? reason = null) => new($"missed/{day}", Day(day), false) { Reason = reason };

    /// <summary>A result that meets every condition of a step ahead, to be changed by a test.</summary>
    public static ExerciseReport Good(int day, string id = "pegs") => new(id, $"result/{id}/{day}")
    {
        Repetitions = 20,
        Quality = Quality.Met,
        PainBefore = 1,
        PainDuring = 1,
        PainAfter = 1,
        Exertion = new(ExertionScale.ZeroToTen, 3),
        Fatigue = 2,
    };
}
