using RehabRecords.Clinical;
using RehabRecords.Progress;
using RehabRecords.Terms;

namespace RehabRecords.Notes;

/// <summary>What the person and carers report: always attributed, quoted, and apart from what a clinician says or measures.</summary>
internal static class SubjectiveSection
{
    public static IEnumerable<Statement> Of(ProgrammeRecord record, ProgrammeFindings findings) =>
        [.. UrgentFlags(record, findings), .. Harms(record), .. Words(record), .. Ratings(record), .. Missed(record), .. Skipped(record)];

    private static IEnumerable<Statement> UrgentFlags(ProgrammeRecord record, ProgrammeFindings findings) =>
        from flag in findings.Flags
        where flag.Flag.Urgency != Urgency.NoteAtNextReview
        select NoteRules.UrgentFlag.State(
            flag.Raised.Id,
            $"{NotePhrases.Urgency(flag.Flag.Urgency)}: {What(flag)}, reported on {Since(flag, record)}. {Wording.Sentence(flag.Flag.Text)}",
            FlagEvidence(flag, record));

    /// <summary>The flag's name, with what raised it where the record says more than the name.</summary>
    internal static string What(OutstandingFlag flag)
    {
        var words = flag.Raised.Words?.Trim().TrimEnd('.');
        return string.IsNullOrEmpty(words) || string.Equals(words, flag.Flag.Title, StringComparison.OrdinalIgnoreCase) ? Lower(flag.Flag.Title)
            : words.StartsWith(flag.Flag.Title, StringComparison.OrdinalIgnoreCase) ? Lower(words)
            : $"{Lower(flag.Flag.Title)} ({words})";
    }

    internal static string Since(OutstandingFlag flag, ProgrammeRecord record) =>
        Wording.Date(Schedule.DayOf(flag.Raised.Since, record.Programme.TimeZone));

    internal static string Lower(string title) => title.Length == 0 ? title : char.ToLowerInvariant(title[0]) + title[1..];

    /// <summary>The flag itself and, where it is in this programme, what raised it.</summary>
    internal static Evidence FlagEvidence(OutstandingFlag flag, ProgrammeRecord record)
    {
        var source = string.Join('/', (flag.Raised.Source ?? "").Split('/').Take(2)) + "/";
        var raisedBy = record.Sessions.SelectMany(s => s.Report.Exercises.Select(e => e.Evidence).Append(s.Report.Evidence))
            .Concat(record.Harms.Select(h => h.Report.Evidence))
            .Where(a => a.StartsWith(source, StringComparison.Ordinal));
        return new Evidence(flag.Raised.Evidence, raisedBy);
    }

    internal static IEnumerable<Statement> Harms(ProgrammeRecord record) =>
        from harm in record.Harms
        let words = string.IsNullOrWhiteSpace(harm.Description) ? "" : " " + NotePhrases.Quote(harm.Description)
        let who = harm.Reporter is null ? "somebody whose role is not recorded" : NotePhrases.Who(harm.Reporter)
        select NoteRules.HarmReported.State(
            IdOf(harm.Report.Evidence),
            $"On {Wording.Date(harm.Day)} {who} reported harm: {CodeLists.AdverseEventKind.Words(harm.Report.Kind)}, {harm.Report.Severity}.{words}",
            new Evidence(harm.Report.Evidence));

    private static IEnumerable<Statement> Words(ProgrammeRecord record)
    {
        var said = record.Sessions.Where(s => s.Remarks.Count > 0 && s.Reporter.Role != "clinician").ToList();
        if (said.Count == 0)
            yield break;
        var recent = record.Recent().Intersect(said).ToList();
        if (recent.Count == 0)
            recent = [said[^1]];
        foreach (var session in recent)
            foreach (var (remark, index) in session.Remarks.Select((r, i) => (r, i)))
                yield return NoteRules.Words.State(
                    index == 0 ? session.Id : $"{session.Id}.{index + 1}",
                    $"On {Wording.Date(session.Report.Day)} {NotePhrases.Who(session.Reporter)} reported: {NotePhrases.Quote(remark)}",
                    new Evidence(session.Report.Evidence));
        var earlier = said.Except(recent).ToList();
        if (earlier.Count > 0)
            yield return NoteRules.EarlierWords.State("",
                earlier.Count == 1
                    ? $"1 earlier remark, from {Wording.Date(earlier[0].Report.Day)}, is kept in the record."
                    : $"{earlier.Count} earlier remarks, from {Wording.Date(earlier[0].Report.Day)} to {Wording.Date(earlier[^1].Report.Day)}, are kept in the record.",
                Evidence.Of(earlier.Select(s => s.Report.Evidence))!);
    }

    private static IEnumerable<Statement> Ratings(ProgrammeRecord record)
    {
        var done = (from session in record.Recent()
                    where session.Report.Done
                    from result in session.Report.Exercises
                    where result.Done
                    select (session.Report.Day, Result: result)).ToList();
        var by = NotePhrases.By(record.Recent().Where(s => s.Report.Done));
        var painful = done.Where(d => d.Result is { PainBefore: not null } or { PainDuring: not null } or { PainAfter: not null }).ToList();
        if (painful.Count > 0)
        {
            string Range(string when, Func<ExerciseReport, int?> pain)
            {
                var values = painful.Select(p => pain(p.Result)).OfType<int>().Select(v => (decimal)v).ToList();
                return values.Count == 0 ? $"{when} not recorded" : $"{when} {NotePhrases.Range(values)}";
            }

            var during = painful.Where(p => p.Result.PainDuring is not null).ToList();
            // Of equal ratings the latest is named.
            var worst = during.OrderByDescending(p => p.Result.PainDuring).ThenByDescending(p => p.Day).ThenBy(p => p.Result.Evidence, StringComparer.Ordinal).FirstOrDefault();
            var highest = worst.Result is null || worst.Result.PainDuring == 0 ? ""
                : $" Highest during practice: {worst.Result.PainDuring}, {record.ExerciseName(worst.Result.Planned)} on {Wording.Date(worst.Day)}.";
            yield return NoteRules.Pain.State("",
                $"Pain, 0 to 10, as reported {by} {record.InRecent()}: {Range("before practice", r => r.PainBefore)}, {Range("during", r => r.PainDuring)}, {Range("after", r => r.PainAfter)}.{highest}",
                Evidence.Of(painful.Select(p => p.Result.Evidence))!,
                worst.Result is null ? [] : [new StatedValue(worst.Result.PainDuring!.Value, "{score}")]);
        }

        var tired = done.Where(d => d.Result.Fatigue is not null).ToList();
        if (tired.Count > 0)
            yield return NoteRules.Fatigue.State("",
                $"Fatigue, 0 to 10, as reported {by} {record.InRecent()}: {NotePhrases.Range([.. tired.Select(t => (decimal)t.Result.Fatigue!.Value)])}, latest {tired[^1].Result.Fatigue}; recorded in {tired.Count} of {Wording.Count(done.Count, "result")}.",
                Evidence.Of(tired.Select(t => t.Result.Evidence))!,
                new StatedValue(tired[^1].Result.Fatigue!.Value, "{score}"));

        foreach (var scale in Enum.GetValues<ExertionScale>())
        {
            var rated = done.Where(d => d.Result.Exertion?.Scale == scale).ToList();
            if (rated.Count > 0)
                yield return NoteRules.Effort.State(scale == ExertionScale.ZeroToTen ? "0-10" : "6-20",
                    $"Effort on the {(scale == ExertionScale.ZeroToTen ? "0 to 10" : "6 to 20")} scale, as reported {by} {record.InRecent()}: {NotePhrases.Range([.. rated.Select(r => r.Result.Exertion!.Value)])}; recorded in {rated.Count} of {Wording.Count(done.Count, "result")}.",
                    Evidence.Of(rated.Select(r => r.Result.Evidence))!);
        }
    }

    private static IEnumerable<Statement> Missed(ProgrammeRecord record)
    {
        var missed = record.Recent().Where(s => !s.Report.Done).ToList();
        if (missed.Count == 0)
            yield break;
        var reasons = missed.GroupBy(s => s.Report.Reason).OrderByDescending(g => g.Count()).ThenBy(g => g.Key is null).ThenBy(g => g.Key)
            .Select(g => $"{g.Key?.Words() ?? "no reason given"} {g.Count()} ({Wording.Dates(g.Select(s => s.Report.Day))})");
        yield return NoteRules.MissedReasons.State("", $"Reasons given {NotePhrases.By(missed)} for missed sessions {record.InRecent()}: {Wording.List(reasons)}.", Evidence.Of(missed.Select(s => s.Report.Evidence))!);
    }

    private static IEnumerable<Statement> Skipped(ProgrammeRecord record) =>
        from prescription in record.Prescriptions.DistinctBy(p => p.Planned.Id)
        let skipped = record.Recent().Where(s => s.Report.Done).SelectMany(s => s.Report.Exercises)
            .Where(e => e.Planned == prescription.Planned.Id && !e.Done).ToList()
        where skipped.Count > 0
        let said = record.Recent().SelectMany(s => s.ResultRemarks).Where(r => r.Planned == prescription.Planned.Id).Select(r => NotePhrases.Quote(r.Words)).ToList()
        let words = said.Count == 0 ? "" : $" In the reporter's words: {string.Join(" ", said)}"
        select NoteRules.SkippedReasons.State(
            prescription.Planned.Id,
            $"{record.ExerciseName(prescription.Planned.Id)}: skipped in {Wording.Count(skipped.Count, "session")} {record.InRecent()} ({NotePhrases.Reasons(skipped.Select(s => s.Skipped))}).{words}",
            Evidence.Of(skipped.Select(s => s.Evidence))!);

    private static string IdOf(string address) => address.Split('/')[1];
}
