using RehabRecords.Clinical;
using RehabRecords.Progress;
using RehabRecords.Terms;

namespace RehabRecords.Notes;

/// <summary>Suggestions by rule, each called that: outstanding flags come first, and while one is open nothing suggests to go on.</summary>
internal static class PlanSection
{
    public static IEnumerable<Statement> Of(ProgrammeRecord record, ProgrammeFindings findings) =>
        [.. Flags(record, findings), .. CautionStatements.Of(record), .. DecisionStatements.Decisions(record), .. Suggestions(record, findings), .. MissingReports(record, findings), .. Review(record)];

    private static IEnumerable<Statement> Flags(ProgrammeRecord record, ProgrammeFindings findings) =>
        from flag in findings.Flags
        let frozen = flag.Flag.Freezes ? " Suggestions to go on are frozen until a registered clinician clears it with a reason." : ""
        // Emergency and urgent texts head the note; the others are said here in full.
        let what = flag.Flag.Urgency == Urgency.NoteAtNextReview ? $" {Wording.Sentence(flag.Flag.Text)}" : ""
        select NoteRules.FlagOutstanding.State(
            flag.Raised.Id,
            $"Outstanding red flag: {SubjectiveSection.Lower(flag.Flag.Title)}, since {SubjectiveSection.Since(flag, record)} ({SubjectiveSection.Lower(NotePhrases.Urgency(flag.Flag.Urgency))}).{what}{frozen}",
            SubjectiveSection.FlagEvidence(flag, record));

    private static IEnumerable<Statement> Suggestions(ProgrammeRecord record, ProgrammeFindings findings)
    {
        // The same words for several exercises are said once.
        var open = findings.Suggestions.Where(s => !findings.Answered.ContainsKey(s.Planned)).ToList();
        foreach (var group in open.GroupBy(s => (s.Suggestion, s.Rule, s.RuleSet, s.Reason, Options: Options(s))))
        {
            var first = group.First();
            var rule = first.Suggestion switch
            {
                Suggestion.Advance => NoteRules.SuggestAdvance,
                Suggestion.Hold => NoteRules.SuggestHold,
                Suggestion.StepBack => NoteRules.SuggestStepBack,
                _ => NoteRules.SuggestStop,
            };
            yield return rule.State(
                first.Planned,
                $"Suggestion for {Wording.List(group.Select(s => record.ExerciseName(s.Planned)))}: {What(first.Suggestion)}. "
                + $"{Wording.Sentence(Wording.Capital(first.Reason))}{group.Key.Options} Rule {first.Rule}, rule set {first.RuleSet}{(first.ClinicChanges is null ? "" : ", changed by the clinic")} ({first.Source.MarkText}).",
                NotePhrases.Proof([.. group.SelectMany(s => s.Evidence.Concat(DecisionStatements.Locking(s, record)))], record));
        }
        if (open.Count > 0)
            yield return NoteRules.SuggestionCaution.State("",
                "Suggestions come from rules and change nothing by themselves. Follow local policy; the registered clinician decides.",
                ObjectiveSection.Planned(record));
    }

    private static string What(Suggestion suggestion) => suggestion switch
    {
        Suggestion.Advance => "one step harder in one respect",
        Suggestion.Hold => "carry on as prescribed",
        Suggestion.StepBack => "one step easier in one respect",
        _ => "stop and review before going on",
    };

    private static string Options(ProgressionSuggestion suggestion) => suggestion.Options.Count == 0 ? ""
        : $" Possible: {string.Join("; ", suggestion.Options.Select(o => $"{CodeLists.GradingDimension.Words(o.Dimension.Code())}: {o.Text.TrimEnd('.', ' ')}"))}.";

    private static IEnumerable<Statement> MissingReports(ProgrammeRecord record, ProgrammeFindings findings)
    {
        if (findings.Adherence.Unknown > 0)
            yield return NoteRules.AskAboutMissingReports.State("", "Suggestion: ask about the planned sessions without a report.", ObjectiveSection.Planned(record));
    }

    private static IEnumerable<Statement> Review(ProgrammeRecord record)
    {
        if (record.Programme.End is not { } end)
            yield break;
        var due = record.Goals.Select(g => g.Due).OfType<DateOnly>().Distinct().Order().ToList();
        var goals = due.Count == 0 ? "" : $" Goals due: {Wording.List(due.Select(Wording.Date))}.";
        yield return NoteRules.ReviewDate.State("",
            $"The programme {(end < record.AsOf ? "ended" : "ends")} on {Wording.Date(end)}.{goals}",
            new Evidence(record.Programme.Evidence, record.Goals.Where(g => g.Due is not null).Select(g => g.Evidence)));
    }
}
