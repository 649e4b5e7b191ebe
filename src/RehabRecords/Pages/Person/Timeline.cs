using RehabRecords.Clinical;
using RehabRecords.Notes;
using RehabRecords.Progress;
using RehabRecords.Terms;
using Schedule = RehabRecords.Clinical.Schedule;

namespace RehabRecords.Pages.Person;

/// <summary>What happened, the latest first.</summary>
internal static class Timeline
{
    public static IEnumerable<TimelineEvent> Of(ProgrammeRecord? record, IEnumerable<NoteLineView> notes) =>
        (record is null ? [] : Events(record)).Concat(notes.Where(n => n.To is not null).Select(n =>
            new TimelineEvent(DateOnly.Parse(n.To![..10], System.Globalization.CultureInfo.InvariantCulture), n.Status == "preliminary" ? "Draft" : "Note", n.Title, $"/notes/{n.Id}")))
        .OrderByDescending(e => e.Day).ThenBy(e => e.What, StringComparer.Ordinal).ThenBy(e => e.Words, StringComparer.Ordinal);

    private static IEnumerable<TimelineEvent> Events(ProgrammeRecord record)
    {
        var zone = record.Programme.TimeZone;
        yield return new(record.Programme.Start, "Programme", $"{record.Programme.Title} began", null);
        foreach (var session in record.Sessions)
            yield return session.Report.Done
                ? new(session.Report.Day, "Session", $"{Wording.Count(session.Report.Exercises.Count(e => e.Done), "exercise")} practised, reported by {By(session.Reporter)}", Fhir(session.Report.Evidence))
                : new(session.Report.Day, "Missed", session.Report.Reason is { } reason ? CodeLists.NotDoneReason.Words(reason.Code()) : "no reason given", Fhir(session.Report.Evidence));
        foreach (var measure in record.Measures.Where(m => m.PartOf is null))
        {
            var definition = MeasureCatalogue.Default.Find(measure.Measure);
            yield return new(Schedule.DayOf(measure.MeasuredAt, zone), "Measure", $"{definition?.Title ?? measure.Measure}{(measure.Side is { } side ? $", {side.Code()}" : "")}: {MeasureSeriesOf.Words(definition, measure)}", Fhir(measure.Evidence));
        }
        foreach (var flag in record.RedFlags)
            yield return new(Schedule.DayOf(flag.Since, zone), "Red flag", $"{CodeLists.RedFlag.Words(flag.Code)}{(flag.Open ? ", not cleared" : ", cleared")}", Fhir(flag.Evidence));
        foreach (var harm in record.Harms)
            yield return new(harm.Day, "Harm", $"{CodeLists.AdverseEventKind.Words(harm.Report.Kind)}, {harm.Report.Severity}", Fhir(harm.Report.Evidence));
        foreach (var change in Changes(record))
            yield return change;
        foreach (var goal in record.Goals)
            foreach (var level in goal.Attained)
                yield return new(Schedule.DayOf(level.At, zone), "Goal", $"{goal.Description}: level {level.Level:+0;−0;0}", Fhir(level.Evidence));
    }

    /// <summary>What clinicians changed in the programme since it began, or decided to leave as it is.</summary>
    public static IEnumerable<TimelineEvent> Changes(ProgrammeRecord record)
    {
        var zone = record.Programme.TimeZone;
        foreach (var decision in record.Decisions)
            yield return new(Schedule.DayOf(decision.At, zone), "Decision", Words(decision, Title(record, decision.Planned)), Fhir(decision.Evidence));
        foreach (var pause in record.Pauses)
            yield return new(pause.Days.From, "Pause", $"{(pause.Days.To is { } to ? $"to {Wording.Date(to)}" : "no end set")}{(pause.Days.Reason is null ? "" : $": {pause.Days.Reason}")}", null);
    }

    /// <summary>What was decided, from when it holds, why, and by whom. A change names its exercise itself.</summary>
    private static string Words(Decision decision, string title)
    {
        var what = decision.Change is not { } change ? CodeLists.Decision.Words(decision.Code)
            : change.StartsWith(title + ": ", StringComparison.Ordinal) ? change[(title.Length + 2)..] : change;
        return $"{title}: {what}, from {Wording.Date(decision.From)}{(decision.Reason is { } reason ? $", because: {reason.TrimEnd('.', ' ')}" : "")}. {Wording.Sentence(decision.By)}";
    }

    private static string Title(ProgrammeRecord record, string planned) =>
        record.Prescriptions.FirstOrDefault(p => p.Planned.Id == planned)?.Planned.Title ?? "an exercise";

    private static string By(Reporter reporter) => reporter.Name is null ? $"the {reporter.Role}" : $"{reporter.Name} ({reporter.Role})";

    private static string Fhir(string evidence) => $"/fhir/{evidence}";
}
