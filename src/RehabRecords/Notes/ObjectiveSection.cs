using RehabRecords.Clinical;
using RehabRecords.Progress;
using RehabRecords.Terms;

namespace RehabRecords.Notes;

/// <summary>What was planned, done and recorded of practice; measures follow in <see cref="MeasureStatements"/>.</summary>
internal static class ObjectiveSection
{
    /// <summary>Quality is read over the last three rated sessions, as the progression rules do.</summary>
    private const int RatedSessions = 3;

    public static IEnumerable<Statement> Of(ProgrammeRecord record, ProgrammeFindings findings) =>
    [
        Person(record), Programme(record), .. DecisionStatements.Revisions(record), .. DecisionStatements.Pauses(record),
        .. Adherence(record, findings), .. Doses(record, findings), .. QualityAndHelp(record),
        .. MeasureStatements.Of(record, findings), .. MeasureStatements.Norms(record, findings), .. ClinicianWords(record), .. NotRecorded(record, findings),
    ];

    private static Statement Person(ProgrammeRecord record)
    {
        var context = record.Person.Context;
        var onset = context.Onset is { } day
            ? $"onset {Wording.Date(day)}{(context.DaysSinceOnset(record.AsOf) is { } days ? $" ({Wording.Count(days, "day")} before the latest result)" : "")}"
            : "onset not recorded";
        return NoteRules.PersonContext.State("",
            $"Affected side {Side(context.AffectedSide)}; dominant hand {Side(context.DominantHand)}; {onset}.",
            new Evidence(record.Person.Evidence));

        static string Side(Side? side) => side?.Code() ?? "not recorded";
    }

    private static Statement Programme(ProgrammeRecord record)
    {
        var programme = record.Programme;
        var level = programme.Level is { } number ? $", level {number}" : "";
        var until = programme.End is { } end ? $" to {Wording.Date(end)}" : "";
        var exercises = record.InForce.Select(p => $"{record.ExerciseName(p.Planned.Id)}, {Amount(p.Planned.Dosage)}");
        return NoteRules.ProgrammeDelivered.State("",
            $"Home programme “{programme.Title}”{level}, from {Wording.Date(programme.Start)}{until}: {string.Join("; ", exercises)}.",
            Planned(record));
    }

    private static string Amount(Dosage dosage)
    {
        var parts = new List<string>();
        if (dosage.Repetitions is { } each)
            parts.Add(dosage.Sets == 1 ? Wording.Count(each, "repetition") : $"{dosage.Sets} sets of {each}");
        if (dosage.Minutes is { } minutes)
            parts.Add($"{Wording.Number(minutes)} min");
        return parts.Count == 0 ? "amount left open" : string.Join(", ", parts);
    }

    internal static IEnumerable<Statement> Adherence(ProgrammeRecord record, ProgrammeFindings findings)
    {
        var a = findings.Adherence;
        if (Evidence.Of(a.Evidence) is not { } evidence)
            yield break;
        if (a.Due == 0)
        {
            yield return NoteRules.NothingDue.State("", $"No session was due up to {Wording.Date(a.To)}, so adherence cannot be stated.", evidence);
            yield break;
        }
        var (lower, upper) = (a.Lower!.Value, a.Upper!.Value);
        var rule = findings.Rules.Adherence;
        var reached = a.Meets(rule) switch
        {
            true => "this is reached",
            false => "this is not reached",
            null => "it cannot be said whether this is reached, since the bounds lie on both sides",
        };
        // One sentence group, because all of it rests on the same reports: they are cited once.
        yield return NoteRules.Adherence.State("",
            $"From {Wording.Date(a.From)} to {Wording.Date(a.To)}, {Wording.Count(a.Due, "home session was", "home sessions were")} planned: "
            + $"{a.Done} reported done, {a.NotDone} reported missed, {a.Unknown} without a report. "
            + (a.Unknown == 0
                ? $"Adherence is {Wording.Percent(lower)} ({a.Done} of {a.Due}); every planned session has a report."
                : $"Adherence lies between {Wording.Percent(lower)} and {Wording.Percent(upper)}: {a.Unknown} of {Wording.Count(a.Due, "planned session")} {(a.Unknown == 1 ? "has" : "have")} no report.")
            + $" By the definition “{rule.Title}” ({rule.Source}), {reached}.",
            evidence,
            new StatedValue(a.Due, "{#}"), new StatedValue(a.Done, "{#}"), new StatedValue(a.NotDone, "{#}"), new StatedValue(a.Unknown, "{#}"), Ratio(lower), Ratio(upper));
        if (a.Extra > 0)
            yield return NoteRules.ExtraSessions.State("",
                $"{Wording.Count(a.Extra, "session was", "sessions were")} done beyond the plan; {(a.Extra == 1 ? "it does" : "they do")} not make up for others.",
                Planned(record), new StatedValue(a.Extra, "{#}"));
    }

    /// <summary>What was planned is what shows that a report is missing or a session was more than planned.</summary>
    public static Evidence Planned(ProgrammeRecord record) => new(record.Programme.Evidence, record.Prescriptions.Select(p => p.Planned.Evidence));

    private static StatedValue Ratio(double ratio) => new(Math.Round((decimal)(ratio * 100), 1, MidpointRounding.AwayFromZero), "%");

    private static IEnumerable<Statement> Doses(ProgrammeRecord record, ProgrammeFindings findings)
    {
        foreach (var series in findings.Doses.GroupBy(d => d.Planned))
        {
            var weeks = series.OrderByDescending(d => d.Week).Take(2).ToList();
            var (latest, before) = (weeks[0], weeks.ElementAtOrDefault(1));
            var earlier = before is null ? "" : $"; the week before {Done(before)}";
            yield return NoteRules.DoseOfWeek.State(series.Key,
                $"{record.ExerciseName(series.Key)}, week {latest.Week} (from {Wording.Date(latest.WeekStart)}, planned up to {Wording.Date(findings.To)}): {Done(latest)}{earlier}.",
                NotePhrases.Proof([.. latest.Evidence, .. before?.Evidence ?? []], record),
                Values(latest));
            if (latest.WithoutAmount > 0)
                yield return NoteRules.DoseNotRecorded.State(series.Key,
                    $"{record.ExerciseName(series.Key)}, week {latest.Week}: {latest.WithoutAmount} of {Wording.Count(latest.Occasions, "occasion")} {(latest.WithoutAmount == 1 ? "has" : "have")} no amount recorded.",
                    NotePhrases.Proof(latest.Evidence, record));
        }
    }

    private static string Done(Dose dose)
    {
        if (dose.Occasions == 0)
            return dose.PlannedRepetitions is > 0 and var due ? $"none of {due} planned repetitions reported" : "no practice reported";
        var parts = new List<string>();
        if (dose.Repetitions is { } done)
            parts.Add(dose.PlannedRepetitions is > 0 and var planned
                ? $"{done} of {planned} planned repetitions ({Wording.Percent(dose.RepetitionRatio!.Value)})"
                : $"{Wording.Count(done, "repetition")} (none planned in repetitions)");
        if (dose.PurposefulRepetitions is { } purposeful)
            parts.Add($"{purposeful} of them purposeful");
        if (dose.Minutes is { } minutes)
            parts.Add(dose.PlannedMinutes is > 0 and var due ? $"{Wording.Number(minutes)} of {Wording.Number(due)} planned min" : $"{Wording.Number(minutes)} min");
        parts.Add($"on {Wording.Count(dose.Occasions, "occasion")}");
        return string.Join(", ", parts);
    }

    private static List<StatedValue> Values(Dose dose)
    {
        var values = new List<StatedValue>();
        if (dose.Repetitions is { } repetitions)
            values.Add(new StatedValue(repetitions, "{reps}"));
        if (dose.PlannedRepetitions is { } planned)
            values.Add(new StatedValue(planned, "{reps}"));
        if (dose.Minutes is { } minutes)
            values.Add(new StatedValue(minutes, "min"));
        return values;
    }

    /// <summary>Exercises of which the same is to be said share one sentence.</summary>
    private static IEnumerable<Statement> QualityAndHelp(ProgrammeRecord record) =>
        from found in record.Prescriptions.DistinctBy(p => p.Planned.Id).Select(p => QualityAndHelp(record, p.Planned.Id))
        where found.Words.Length > 0
        group found by found.Words into alike
        select NoteRules.QualityAndHelp.State(
            alike.First().Planned,
            $"{Wording.List(alike.Select(f => record.ExerciseName(f.Planned)))}: {alike.Key}.",
            Evidence.Of(alike.SelectMany(f => f.Evidence))!);

    private static (string Planned, string Words, IReadOnlyList<string> Evidence) QualityAndHelp(ProgrammeRecord record, string planned)
    {
        var done = record.Sessions.Where(s => s.Report.Done).SelectMany(s => s.Report.Exercises).Where(e => e.Planned == planned && e.Done).ToList();
        var rated = done.Where(e => e.Quality is not null).TakeLast(RatedSessions).ToList();
        var helped = done.LastOrDefault(e => e.Help is not null);
        var parts = new List<string>();
        if (rated.Count > 0)
            parts.Add($"own success criterion {Counts(rated)} of the last {Wording.Count(rated.Count, "rated session")}");
        if (helped is not null)
            parts.Add($"latest help recorded: {CodeLists.HelpLevel.Words(helped.Help!.Value.Code())}");
        return (planned, string.Join("; ", parts), [.. rated.Select(r => r.Evidence), .. helped is null ? Array.Empty<string>() : [helped.Evidence]]);
    }

    private static string Counts(List<ExerciseReport> rated) => Wording.List(
        rated.GroupBy(r => r.Quality!.Value).OrderBy(g => g.Key)
            .Select(g => $"{g.Key switch { Quality.Met => "met", Quality.PartlyMet => "partly met", _ => "not met" }} in {g.Count()}"));

    private static IEnumerable<Statement> ClinicianWords(ProgrammeRecord record) =>
        from session in record.Recent()
        where session.Reporter.Role == "clinician"
        from remark in session.Remarks.Select((words, index) => (words, index))
        select NoteRules.ClinicianWords.State(
            remark.index == 0 ? session.Id : $"{session.Id}.{remark.index + 1}",
            $"On {Wording.Date(session.Report.Day)} {NotePhrases.Who(session.Reporter)} noted: {NotePhrases.Quote(remark.words)}",
            new Evidence(session.Report.Evidence));

    private static IEnumerable<Statement> NotRecorded(ProgrammeRecord record, ProgrammeFindings findings)
    {
        var lacking = findings.Completeness.Where(c => c.Recorded < c.Of).ToList();
        if (lacking.Count == 0)
            yield break;
        yield return NoteRules.NotRecorded.State("",
            $"Not recorded {record.InRecent()}: {Wording.List(lacking.Select(c => $"{c.Item} in {c.Of - c.Recorded} of {Wording.Count(c.Of, "result")}"))}.",
            Evidence.Of(lacking.SelectMany(c => c.Evidence))!);
    }
}
