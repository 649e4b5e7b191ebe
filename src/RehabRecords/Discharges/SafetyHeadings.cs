using Hl7.Fhir.Model;
using RehabRecords.Clinical;
using RehabRecords.Notes;
using RehabRecords.Programmes;
using RehabRecords.Progress;
using RehabRecords.Terms;
using Evidence = RehabRecords.Notes.Evidence;
using Schedule = RehabRecords.Clinical.Schedule;

namespace RehabRecords.Discharges;

/// <summary>Risks and stop rules: flags and what became of them, precautions, cautions, harm. It never says that all is well.</summary>
internal static class SafetyHeadings
{
    public static IEnumerable<Statement> Of(DischargeRecord d) =>
        [.. Open(d), .. Cleared(d), .. Precautions(d), .. CautionsTold(d), .. PainLimits(d), .. Harms(d)];

    private static IEnumerable<Statement> Open(DischargeRecord d) =>
        from flag in d.Whole.Findings.Flags
        select DischargeRules.OpenFlag.State(flag.Raised.Id,
            $"Outstanding red flag: {SubjectiveSection.What(flag)}, since {d.Day(flag.Raised.Since)} ({SubjectiveSection.Lower(NotePhrases.Urgency(flag.Flag.Urgency))}). {Wording.Sentence(flag.Flag.Text)}",
            new Evidence(flag.Raised.Evidence));

    private static IEnumerable<Statement> Cleared(DischargeRecord d)
    {
        foreach (var raised in d.Whole.Record.RedFlags.Where(f => !f.Open && Schedule.DayOf(f.Since, d.TimeZone) >= d.Episode.Start))
        {
            var flag = d.Whole.Record.Resources.OfType<Flag>().Single(f => f.Id == raised.Id);
            var cleared = flag.GetExtension(Extensions.FlagCleared);
            var by = cleared?.GetExtensionValue<FhirString>("by")?.Value;
            var at = cleared?.GetExtensionValue<Instant>("at")?.Value;
            var how = cleared is null ? $"no longer active ({flag.StatusElement?.JsonValue}); who cleared it is not recorded."
                : $"cleared{(at is { } time ? $" on {d.Day(time)}" : "")} by {by ?? "somebody who is not recorded"}, because {NotePhrases.Quote(cleared.GetExtensionValue<FhirString>("reason")?.Value ?? "no reason recorded")}";
            yield return DischargeRules.ClearedFlag.State(raised.Id,
                $"Red flag {NotePhrases.Quote(raised.Words ?? CodeLists.RedFlag.Words(raised.Code))}, since {d.Day(raised.Since)}: {how}", new Evidence(raised.Evidence));
        }
    }

    private static IEnumerable<Statement> Precautions(DischargeRecord d) =>
        from precaution in d.Whole.Record.Precautions
        let words = d.Whole.Record.Resources.OfType<Flag>().FirstOrDefault(f => f.Id == precaution.Id)?.Code?.Text ?? CodeLists.Precaution.Words(precaution.Code)
        select DischargeRules.Precaution.State(precaution.Id,
            Wording.Sentence($"Precaution: {words.TrimEnd('.', ' ')}{(precaution.Since is { } since ? $", since {Wording.Date(since)}" : "")}"), new Evidence(precaution.Evidence));

    /// <summary>What several exercises have in common is said once.</summary>
    private static IEnumerable<Statement> CautionsTold(DischargeRecord d)
    {
        var told = from programme in d.AtDischarge
                   from request in programme.Last(d.On).Select(p => p.Request)
                   from caution in AppliedCaution.AnswersOf(request)
                   where caution is { Code: not null, Text: not null }
                   group request by (caution.Code, caution.Text, caution.Stop, caution.Condition, caution.Source);
        return told.Select(requests =>
        {
            var (code, text, stop, condition, source) = requests.Key;
            return DischargeRules.Caution.State(
                $"{code} {text} {condition} {source}",
                $"{(stop ? "Stop rule" : "Take care")} ({CodeLists.Caution.Words(code!)}{(condition is null ? "" : $", {condition}")}), "
                + $"for {Wording.List(requests.Select(r => r.Code?.Text ?? "an exercise").Distinct())}: {Wording.Sentence(text!)}{(source is null ? "" : $" ({source})")}",
                Evidence.Of(requests.Select(r => r.Evidence()))!);
        });
    }

    private static IEnumerable<Statement> PainLimits(DischargeRecord d) =>
        from programme in d.AtDischarge
        select DischargeRules.PainLimit.State(programme.Outline.Id,
            $"Pain limit agreed for “{programme.Outline.Title}”: {programme.Outline.PainLimit} of 10; pain above it raised a flag. {Cautions.Closing}",
            new Evidence(programme.Outline.Evidence), new StatedValue(programme.Outline.PainLimit, "{score}"));

    private static IEnumerable<Statement> Harms(DischargeRecord d) =>
        d.Programmes.SelectMany(p => SubjectiveSection.Harms(p.Record)).Select(s => s.Under(NoteSection.SafetyAlerts))
            .DefaultIfEmpty(DischargeRules.NoHarm.State("", "No adverse event is recorded. What was not reported is not known.",
                new Evidence(d.Programmes[0].Outline.Evidence, d.Programmes.Skip(1).Select(p => p.Outline.Evidence))));
}
