using CsCheck;

namespace RehabRecords.Clinical.Tests;

public class PracticeLawTests
{
    private static readonly Gen<Schedule> FixedDays = Gen.Select(Gen.Int[1, 3], Gen.Enum<DayOfWeek>().Array[0, 4], Gen.Int[1, 20], Gen.Int[0, 5]).Select((times, days, pause, length) =>
        Home.Daily() with { Frequency = times, Days = [.. days.Distinct()], Pauses = [new(Home.Day(pause), Home.Day(pause + length))] });

    private enum Told
    {
        Done,
        Missed,
        DoneUnsaid,
        MissedUnsaid,
    }

    [Fact]
    public void The_bounds_hold_the_truth_however_the_unknown_days_turn_out() =>
        Gen.Select(FixedDays, Gen.Enum<Told>().Array[90]).Sample((schedule, told) =>
        {
            PlannedExercise[] plan = [Home.Exercise(schedule: schedule)];
            var days = schedule.Due(Home.Start, Home.Day(30)).Select((o, i) => (o.From, Told: told[i], Index: i)).ToList();
            SessionReport Report(DateOnly day, bool done, int i) => new($"s/{i:00}", day, done);
            var truth = Adherence.OfProgramme(plan, [.. days.Select(d => Report(d.From, d.Told is Told.Done or Told.DoneUnsaid, d.Index))], Home.Start, Home.Day(30));
            var known = Adherence.OfProgramme(plan, [.. days.Where(d => d.Told is Told.Done or Told.Missed).Select(d => Report(d.From, d.Told == Told.Done, d.Index))], Home.Start, Home.Day(30));
            return truth.Unknown == 0 && truth.Due == known.Due && truth.Due == known.Done + known.NotDone + known.Unknown
                && (known.Due == 0 ? known.Lower is null : known.Lower <= truth.Lower && truth.Upper <= known.Upper && truth.Lower == truth.Upper)
                && (known.Meets(AdherenceRule.MoreThan70) is not { } said || said == truth.Meets(AdherenceRule.MoreThan70));
        });

    [Fact]
    public void Order_of_arrival_never_matters() =>
        Gen.Select(FixedDays, Gen.Select(Gen.Int[1, 30], Gen.Bool, Gen.Int[0, 40], Gen.Int[0, 10]).Array[0, 25], Gen.Int[1, 1000]).Sample((schedule, sessions, seed) =>
        {
            PlannedExercise[] plan = [Home.Exercise(schedule: schedule), Home.Exercise("coins", Home.Daily() with { Frequency = 3, Unit = PeriodUnit.Week })];
            SessionReport[] reports = [.. sessions.Select((s, i) => new SessionReport($"s/{i:00}", Home.Day(s.Item1), s.Item2)
            {
                DoneAt = s.Item2 ? Home.At(s.Item1, i % 24) : null,
                Exercises = s.Item2 ? [Home.Good(s.Item1) with { Evidence = $"r/{i:00}", Repetitions = s.Item3, PainDuring = s.Item4 }] : [],
            })];
            SessionReport[] other = [.. reports.OrderBy(r => r.Evidence.GetHashCode(StringComparison.Ordinal) ^ seed)];
            var (to, flags) = (Home.Day(30), Array.Empty<OpenFlag>());
            return Same(Adherence.OfProgramme(plan, reports, Home.Start, to), Adherence.OfProgramme(plan, other, Home.Start, to))
                && Same(Adherence.OfExercise("pegs", plan, reports, Home.Start, to), Adherence.OfExercise("pegs", plan, other, Home.Start, to))
                && Dose.PerWeek(plan, reports, to).Zip(Dose.PerWeek(plan, other, to)).All(d => d.First.Text == d.Second.Text && d.First.Evidence.SequenceEqual(d.Second.Evidence))
                && Progression.Suggest(new(plan, reports, flags, to, 5)).Zip(Progression.Suggest(new(plan, other, flags, to, 5)))
                    .All(p => p.First.Rule == p.Second.Rule && p.First.Reason == p.Second.Reason && p.First.Evidence.SequenceEqual(p.Second.Evidence) && p.First.Inputs.SequenceEqual(p.Second.Inputs));
        });

    [Fact]
    public void One_more_session_never_lowers_what_is_known_to_be_done() =>
        Gen.Select(Gen.Select(Gen.Int[1, 28], Gen.Bool).Array[0, 25], Gen.Int[1, 28]).Sample((sessions, day) =>
        {
            PlannedExercise[] plan = [Home.Exercise(schedule: Home.Daily() with { Frequency = 3, Unit = PeriodUnit.Week }), Home.Exercise("coins", Home.Daily() with { Days = [DayOfWeek.Monday] })];
            SessionReport[] reports = [.. sessions.Select((s, i) => new SessionReport($"s/{i:00}", Home.Day(s.Item1), s.Item2))];
            var (before, after) = (Adherence.OfProgramme(plan, reports, Home.Start, Home.Day(28)), Adherence.OfProgramme(plan, [.. reports, new("more", Home.Day(day), true)], Home.Start, Home.Day(28)));
            return after.Done >= before.Done && after.Due == before.Due && after.Done + after.Extra == before.Done + before.Extra + 1 && after.Lower >= before.Lower;
        });

    [Fact]
    public void Taking_a_report_away_never_makes_a_step_ahead_out_of_a_step_back_or_hold() =>
        Gen.Select(Gen.Int[1, 10], Gen.Int[1, 10]).Sample((last, gone) =>
        {
            SessionReport[] all = [.. Enumerable.Range(1, last).Select(day => Home.Done(day, Home.Good(day)))];
            SessionReport[] fewer = [.. all.Where(r => r.Day != Home.Day(gone))];
            Suggestion Of(SessionReport[] reports) => Progression.Suggest(new([Home.Exercise()], reports, [], Home.Day(last), 5))[0].Suggestion;
            return Of(all) == Suggestion.Advance || Of(fewer) != Suggestion.Advance;
        });

    private static bool Same(Adherence a, Adherence b) =>
        a.Text == b.Text && a.Evidence.SequenceEqual(b.Evidence);
}
