namespace RehabRecords.Clinical;

/// <summary>What was reported on a day: done, or not done.</summary>
internal sealed record Report(DateOnly Day, DateTimeOffset? At, bool Done, string Evidence, SessionReport Session, ExerciseReport? Result);

/// <summary>A due occurrence with its report, or without one.</summary>
internal sealed record Occasion(DueOccurrence Due, Report? Report)
{
    public DateOnly Day => Report?.Day ?? Due.By;
}

/// <summary>Occurrences matched with reports.</summary>
/// <param name="Occasions">Due by the last day, or done ahead of it; by day.</param>
/// <param name="Extra">Reports of practice beyond what was due.</param>
internal sealed record Matched(IReadOnlyList<Occasion> Occasions, IReadOnlyList<Report> Extra)
{
    /// <summary>
    /// Gives each report, in order of day, the open occurrence that must be done soonest. That is the largest possible
    /// matching, whatever the order of arrival. What was done is placed before what was missed, so a day reported both
    /// ways counts as done. A missed report for a day on which nothing is due counts for nothing.
    /// </summary>
    public static Matched Of(IReadOnlyList<DueOccurrence> due, IEnumerable<Report> reports, DateOnly from, DateOnly to)
    {
        var within = reports.Where(r => r.Day >= from && r.Day <= to)
            .OrderBy(r => r.Day).ThenBy(r => r.At).ThenBy(r => r.Evidence, StringComparer.Ordinal).ToList();
        var open = due.Where(d => d.By >= from).OrderBy(d => d.From).ToList();
        var matched = new List<Occasion>();
        var extra = new List<Report>();
        foreach (var done in new[] { true, false })
        {
            var left = new List<DueOccurrence>();
            var ready = new PriorityQueue<DueOccurrence, (DateOnly, DateOnly)>();
            var next = 0;
            foreach (var report in within.Where(r => r.Done == done))
            {
                for (; next < open.Count && open[next].From <= report.Day; next++)
                {
                    // Practice ahead of an even pace brings its occurrence forward; a missed session does not.
                    if (done || open[next].By <= to)
                        ready.Enqueue(open[next], (open[next].To, open[next].By));
                }
                while (ready.Count > 0 && ready.Peek().To < report.Day)
                    left.Add(ready.Dequeue());
                if (ready.Count > 0)
                    matched.Add(new(ready.Dequeue(), report));
                else if (done)
                    extra.Add(report);
            }
            left.AddRange(ready.UnorderedItems.Select(item => item.Element));
            left.AddRange(open.Skip(next));
            open = [.. left.OrderBy(d => d.From)];
        }
        matched.AddRange(open.Where(d => d.By <= to).Select(d => new Occasion(d, null)));
        return new([.. matched.OrderBy(o => o.Day).ThenBy(o => o.Report?.At)], extra);
    }
}
