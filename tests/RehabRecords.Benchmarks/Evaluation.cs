using System.Diagnostics;
using RehabRecords.Clinical;
using RehabRecords.Notes;
using RehabRecords.Progress;

namespace RehabRecords.Benchmarks;

/// <summary>
/// Times what is computed anew with each posted session, for a long course: 500 sessions of 6 exercises, one a day with
/// one in ten missed and one in twelve not reported, and 40 results of measures. In this process, without store or HTTP.
/// </summary>
internal static class Evaluation
{
    private const int Sessions = 500, Exercises = 6, Results = 40;
    private const string Zone = "Europe/London";
    private static readonly DateOnly Start = new(2025, 1, 6);

    public static void Run(int seconds)
    {
        var record = Course();
        var (plan, reports, to) = (record.Plan, record.Reports, record.AsOf);
        var catalogue = MeasureCatalogue.Default;
        var rules = ClinicRules.Default;
        Console.WriteLine($"{Environment.ProcessorCount} cores; {record.Sessions.Count} sessions of {Exercises} exercises, {record.Measures.Count} results of measures; one thread, {seconds} s in all");
        (string What, Action Do)[] parts =
        [
            ("full evaluation", () => Findings.Of(record, catalogue, rules)),
            ("of which adherence of the programme", () => Adherence.OfProgramme(plan, reports, Start, to)),
            ("beside it, for progress, adherence of each exercise", () => Each(plan, id => Adherence.OfExercise(id, plan, reports, Start, to))),
            ("of which dose by week", () => Dose.PerWeek(plan, reports, to)),
            ("of which changes of measures", () => MeasureChange.All(catalogue, record.Measures, record.Person.Context)),
            ("of which trends of practice and measures", () => Trends(record)),
            ("of which suggestions", () => Progression.Suggest(new ProgressionInput(plan, reports, [], to, 5), rules.Progression)),
            ("evaluation and draft note", () => NoteDraft.Statements(record, Findings.Of(record, catalogue, rules))),
        ];
        foreach (var (_, action) in parts)
            Until((double)seconds / parts.Length / 2, action);
        foreach (var (what, action) in parts)
            Measure(what, action, (double)seconds / parts.Length / 2);
    }

    private static void Each(IReadOnlyList<PlannedExercise> plan, Func<string, Adherence> of)
    {
        foreach (var id in plan.Select(p => p.Id).Distinct())
            _ = of(id);
    }

    private static void Trends(ProgrammeRecord record)
    {
        var after = record.AsOf.AddDays(-Findings.TrendDays);
        var recent = record.Reports.Where(r => r.Done && r.Day > after).ToList();
        foreach (var exercise in record.Plan)
        {
            var results = recent.SelectMany(r => r.Exercises.Where(e => e.Planned == exercise.Id).Select(e => (At: r.DoneAt!.Value, Result: e))).ToList();
            Trend.Of([.. results.Select(r => new TrendPoint(r.At, r.Result.Repetitions!.Value, r.Result.Evidence))], Direction.HigherIsBetter, "repetitions");
            Trend.Of([.. results.Select(r => new TrendPoint(r.At, r.Result.PainDuring!.Value, r.Result.Evidence))], Direction.LowerIsBetter, "points");
        }
        foreach (var series in record.Measures.GroupBy(m => m.Measure))
            Trend.Of([.. series.Select(m => new TrendPoint(m.MeasuredAt, (double)m.Value!.Value, m.Evidence))], Direction.HigherIsBetter, "units");
    }

    /// <summary>Processor time as well, since a machine that others use too makes the clock's time say little.</summary>
    private static void Measure(string what, Action action, double seconds)
    {
        var allocated = GC.GetAllocatedBytesForCurrentThread();
        var cpu = Environment.CpuUsage.TotalTime;
        var times = Until(seconds, action);
        var each = (Environment.CpuUsage.TotalTime - cpu).TotalMilliseconds / times.Count;
        var megabytes = (GC.GetAllocatedBytesForCurrentThread() - allocated) / 1e6 / times.Count;
        times.Sort();
        Console.WriteLine($"{what}: median {times[times.Count / 2]:0.00} ms, p99 {times[(int)(times.Count * 0.99)]:0.00} ms, processor {each:0.00} ms, {megabytes:0.0} MB allocated, {times.Count} runs");
    }

    private static List<double> Until(double seconds, Action action)
    {
        var times = new List<double>();
        for (var began = Stopwatch.GetTimestamp(); Stopwatch.GetElapsedTime(began).TotalSeconds < seconds;)
        {
            var start = Stopwatch.GetTimestamp();
            action();
            times.Add(Stopwatch.GetElapsedTime(start).TotalMilliseconds);
        }
        return times;
    }

    /// <summary>The same course at each run: nothing is drawn by chance.</summary>
    private static ProgrammeRecord Course()
    {
        var person = new PersonRecord("p", "Patient/p/_history/1", "Perrin Placeholder",
            new PersonContext(Side.Right, Side.Right, Start.AddDays(-60), new DateOnly(1958, 4, 4), Sex.Female));
        var schedule = new Schedule(Start, Zone);
        return new ProgrammeRecord(person, new ProgrammeOutline("c", "CarePlan/c/_history/1", "Long course", Start, null, Zone, PainLimit: 5, Level: 2))
        {
            Prescriptions = [.. Enumerable.Range(0, Exercises).Select(e => new Prescription(
                new PlannedExercise($"e{e}", $"task-{e}", $"Task {e}", new Dosage(2, 10), schedule, $"ServiceRequest/e{e}/_history/1")
                {
                    Gradings = [new Grading(GradingDirection.Harder, GradingDimension.Object, "Use smaller things.")],
                }, Side.Right))],
            // One day in twelve has no report, so 500 sessions take 545 days.
            Sessions = [.. Enumerable.Range(0, int.MaxValue).Where(day => day % 12 != 7).Take(Sessions).Select(day => Session(day))],
            Measures = [.. Enumerable.Range(0, Results).Select(Result)],
            EvidenceAt = new DateTimeOffset(Start.AddDays(560), TimeOnly.MinValue, TimeSpan.Zero),
        };
    }

    private static Session Session(int number)
    {
        var (day, done) = (Start.AddDays(number), number % 10 != 4);
        return new Session($"s{number}", new SessionReport($"Procedure/s{number}/_history/1", day, done)
        {
            DoneAt = done ? new DateTimeOffset(day, new TimeOnly(10, 0), TimeSpan.Zero) : null,
            Reason = done ? null : NotDoneReason.Fatigue,
            Exercises = !done ? [] : [.. Enumerable.Range(0, Exercises).Select(e => new ExerciseReport($"e{e}", $"Observation/s{number}-{e}/_history/1")
            {
                Repetitions = 14 + (number + e) % 9,
                Minutes = 8,
                PainDuring = (number + e) % 4,
                Quality = (number + e) % 5 == 0 ? Quality.PartlyMet : Quality.Met,
                Exertion = new Exertion(ExertionScale.ZeroToTen, 3),
            })],
        }, new Reporter("patient", null), []);
    }

    private static MeasureResult Result(int number)
    {
        var (measure, value) = (number % 4) switch
        {
            0 => ("nine-hole-peg", 70m - number),
            1 => ("box-and-block", 20m + number / 2),
            2 => ("grip-strength", 10m + number / 4m),
            _ => ("arat", 25m + number / 2),
        };
        return new MeasureResult(measure, new DateTimeOffset(Start.AddDays(number * 13), new TimeOnly(14, 0), TimeSpan.Zero), MeasureStatus.Completed, value,
            Side.Right, $"Observation/m{number}/_history/1");
    }
}
