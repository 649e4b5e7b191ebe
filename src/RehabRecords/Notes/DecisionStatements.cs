using RehabRecords.Clinical;
using RehabRecords.Progress;
using RehabRecords.Terms;

namespace RehabRecords.Notes;

/// <summary>What clinicians decided, attributed to them: changes and pauses of the programme, and decisions on suggestions.</summary>
internal static class DecisionStatements
{
    /// <summary>Of each exercise the latest decision on a suggestion, in the order of the programme.</summary>
    public static IEnumerable<Statement> Decisions(ProgrammeRecord record) =>
        from planned in record.Prescriptions.Select(p => p.Planned.Id).Distinct()
        let decision = record.Decisions.LastOrDefault(d => d.Planned == planned && d.AnswersSuggestion)
        where decision is not null
        let suggested = CodeLists.Suggestion.Words(decision.Suggested!)
        let how = decision.Overrides ? $", overriding the suggestion to {suggested}" : ", as suggested"
        let because = decision.Reason is { Length: > 0 } reason ? $", because {NotePhrases.Quote(reason)}" : ""
        let locked = record.Prescriptions.Last(p => p.Planned.Id == planned).Planned.Locked ? "; the level is locked" : ""
        select NoteRules.DecisionMade.State(
            planned,
            Wording.Sentence($"Decision on {On(decision, record)}, {decision.By}, for {record.ExerciseName(planned)}: {CodeLists.Decision.Words(decision.Code)}{how}{because}")
            + $" It holds from {Wording.Date(decision.From)}{locked}.",
            new Evidence(decision.Evidence, Locks(planned, record)));

    /// <summary>Changes made together are said together.</summary>
    public static IEnumerable<Statement> Revisions(ProgrammeRecord record) =>
        from change in record.Decisions.Where(d => d.Change is not null).GroupBy(d => d.Group ?? d.Id)
        let first = change.First()
        let reason = first.Reason is { Length: > 0 } words ? $" Reason: {NotePhrases.Quote(words)}" : ""
        select NoteRules.Revision.State(
            first.Id,
            $"From {Wording.Date(first.From)}, changed by {first.By}: {string.Join("; ", change.Select(d => d.Change!.TrimEnd('.', ' ')))}.{reason}",
            Evidence.Of(change.Select(d => d.Evidence))!);

    public static IEnumerable<Statement> Pauses(ProgrammeRecord record) =>
        from pause in record.Pauses
        let until = pause.Days.To is { } to ? $"from {Wording.Date(pause.Days.From)} to {Wording.Date(to)}" : $"from {Wording.Date(pause.Days.From)}, until it is ended"
        let reason = pause.Days.Reason is { Length: > 0 } words ? $": {NotePhrases.Quote(words)}" : "."
        select NoteRules.Pause.State(
            pause.Days.From.ToString("yyyy-MM-dd", System.Globalization.CultureInfo.InvariantCulture),
            $"Paused by {pause.By} {until}{reason} Nothing is due on these days.",
            new Evidence(record.Programme.Evidence));

    /// <summary>A suggestion that holds because a clinician locked the level rests on that decision.</summary>
    public static IEnumerable<string> Locking(ProgressionSuggestion suggestion, ProgrammeRecord record) =>
        suggestion.Rule == "hold-locked" ? Locks(suggestion.Planned, record) : [];

    private static IEnumerable<string> Locks(string planned, ProgrammeRecord record) =>
        record.Decisions.LastOrDefault(d => d.Planned == planned && d.Lock is not null) is { Lock: true } decision ? [decision.Evidence] : [];

    private static string On(Decision decision, ProgrammeRecord record) => Wording.Date(Schedule.DayOf(decision.At, record.Programme.TimeZone));
}
