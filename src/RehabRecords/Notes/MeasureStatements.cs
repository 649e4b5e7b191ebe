using RehabRecords.Clinical;
using RehabRecords.Progress;
using RehabRecords.Terms;
using MeasureStatus = RehabRecords.Clinical.MeasureStatus;

namespace RehabRecords.Notes;

/// <summary>Measures with side, unit, status and, where there are two results, the class of the change and the row that decides it.</summary>
internal static class MeasureStatements
{
    public static IEnumerable<Statement> Of(ProgrammeRecord record, ProgrammeFindings findings)
    {
        // Subscales are named with the total that was made from them.
        foreach (var series in record.Measures.Where(m => m.PartOf is null).GroupBy(m => (m.Measure, m.Side, Variant: VariantOf(findings, m), m.Site)))
        {
            var change = findings.Changes.FirstOrDefault(c => c.First.Measure == series.Key.Measure && c.Side == series.Key.Side
                && c.Measure.VariantOf(c.Last) == series.Key.Variant && c.Last.Site == series.Key.Site);
            var measure = findings.Measures.GetValueOrDefault(series.Key.Measure);
            // A change names both its results, so the latest is not said a second time.
            yield return change is null ? Latest(record, measure, series.Last()) : Changed(record, change, series.Count());
        }
    }

    /// <summary>The latest result of each side beside the norm; tables from memory stay out of a note.</summary>
    public static IEnumerable<Statement> Norms(ProgrammeRecord record, ProgrammeFindings findings) =>
        from found in findings.Norms
        where found is { Confirmed: true, Comparison: not null }
        let norm = found.Comparison
        let z = Math.Round((decimal)norm.Z, 2, MidpointRounding.AwayFromZero)
        let percent = Math.Round((decimal)norm.PercentOfMean, 0, MidpointRounding.AwayFromZero)
        select NoteRules.MeasureNorm.State(
            Subject(found.Measure.Id, found.Result.Side),
            $"{Name(record, found.Measure, found.Result)}: {Wording.Number(percent)} % of the norm mean, z {(z > 0 ? "+" : "")}{Wording.Fixed((double)z, 2)} (positive is better); "
            + $"{norm.Cell.Sex.Code()}, {norm.Cell.FromAge} to {norm.Cell.ToAge} years, {norm.Cell.Hand.Code()} hand, table {norm.Table.Id}, "
            + $"{norm.Table.Source.Citation} ({norm.Table.Source.MarkText}).{(norm.Cell.Remark is { } remark ? $" {Wording.Sentence(Wording.Capital(remark))}" : "")} A norm is no target.",
            new Evidence(found.Result.Evidence, record.Person.Evidence),
            new StatedValue(percent, "%"), new StatedValue(z, "1"));

    private static string? VariantOf(ProgrammeFindings findings, MeasureResult result) =>
        findings.Measures.GetValueOrDefault(result.Measure) is { } measure ? measure.VariantOf(result) : result.Variant;

    /// <summary>"(grasp 12, grip 8, pinch 5, gross 6)" where a total was made from subscales.</summary>
    private static string Parts(ProgrammeRecord record, MeasureResult total)
    {
        var parts = PartsOf(record, total).Select(p => $"{p.Measure[(total.Measure.Length + 1)..]} {Wording.Number(p.Value!.Value)}").ToList();
        return parts.Count == 0 ? "" : $" ({string.Join(", ", parts)})";
    }

    private static IEnumerable<MeasureResult> PartsOf(ProgrammeRecord record, MeasureResult total) =>
        record.Measures.Where(m => m.PartOf == total.Evidence && m.Value is not null && m.Measure.StartsWith(total.Measure + "-", StringComparison.Ordinal))
            .OrderBy(m => MeasureCatalogue.Default.Find(m.Measure)?.Order);

    /// <summary>Part of a statement's id: the measure and what tells one series of it from another.</summary>
    public static string Subject(string measure, Side? side, string? variant = null, string? site = null) =>
        string.Join('.', new[] { measure, side?.Code(), variant, site }.Where(part => !string.IsNullOrEmpty(part)).Select(part => part!.Replace(' ', '-')));

    public static string Name(ProgrammeRecord record, MeasureDefinition measure, MeasureResult of) =>
        record.MeasureName(measure.Title, of.Side) + (of.Site is null ? "" : $", {of.Site}") + (of.Variant is null ? "" : $", {of.Variant}");

    private static Statement Latest(ProgrammeRecord record, MeasureDefinition? measure, MeasureResult latest)
    {
        var name = measure is null ? record.MeasureName(latest.Measure, latest.Side) : Name(record, measure, latest);
        var on = Wording.Date(Day(record, latest));
        var subject = Subject(latest.Measure, latest.Side, latest.Variant, latest.Site);
        if (latest.Status != MeasureStatus.Completed)
            return NoteRules.MeasureNotCompleted.State(subject, $"{name}: {Status(latest)} on {on}.{(latest.TimeLimitSeconds is null ? "" : " The limit is not a result.")}",
                new Evidence(latest.Evidence));
        var trials = latest.Trials.Count > 1 && measure is not null
            ? $" ({measure.TrialSummary.ToString().ToLowerInvariant()} of {latest.Trials.Count} trials: {string.Join(", ", latest.Trials.Select(t => Wording.Fixed((double)measure.InOwnUnit(t, latest.Unit)!.Value, measure.Decimals)))})"
            : "";
        return NoteRules.MeasureLatest.State(subject, $"{name}: {Value(measure, latest)}{Parts(record, latest)} on {on}{trials}.",
            new Evidence(latest.Evidence, PartsOf(record, latest).Select(p => p.Evidence)),
            latest.Value is { } value ? [new StatedValue(value, latest.Unit ?? measure?.Unit ?? "1")] : []);
    }

    private static Statement Changed(ProgrammeRecord record, MeasureChange change, int results)
    {
        var measure = change.Measure;
        var text = $"{Name(record, measure, change.Last)}: {Value(measure, change.First)}{Parts(record, change.First)} on {Wording.Date(Day(record, change.First))}, "
            + $"{Value(measure, change.Last)}{Parts(record, change.Last)} on {Wording.Date(Day(record, change.Last))}{(results > 2 ? $" (first and last of {results} results)" : "")}{Difference(change)}. {Class(change)}";
        foreach (var choice in new[] { change.Detectable, change.Important }.OfType<ThresholdChoice>())
            text += $" {Row(measure, choice)}";
        foreach (var note in change.Notes)
            text += $" {Wording.Sentence(Wording.Capital(note))}";
        var values = new List<StatedValue>();
        if (change.Difference is { } difference)
            values.Add(new StatedValue(difference, measure.Unit));
        values.AddRange(new[] { change.Detectable, change.Important }.OfType<ThresholdChoice>().Select(c => new StatedValue(c.Value, measure.Unit)));
        return NoteRules.MeasureChanged.State(
            Subject(measure.Id, change.Side, change.Last.Variant, change.Last.Site), text,
            NotePhrases.Proof([.. change.Evidence, .. PartsOf(record, change.First).Concat(PartsOf(record, change.Last)).Select(p => p.Evidence)], record), values);
    }

    private static string Difference(MeasureChange change)
    {
        if (change.Difference is not { } difference)
            return "";
        if (difference == 0)
            return ": no difference";
        var better = change.Direction switch
        {
            ChangeDirection.Improved => " (better)",
            ChangeDirection.Worsened => " (worse)",
            _ => "",
        };
        return $": {change.Measure.Value(Math.Abs(difference))} {(difference < 0 ? "less" : "more")}{better}";
    }

    private static string Class(MeasureChange change)
    {
        var error = change.Detectable is { } d ? change.Measure.Threshold(d.Value) : "";
        var worth = change.Important is { } i ? change.Measure.Threshold(i.Value) : "";
        return change.Class switch
        {
            ChangeClass.BelowDetectable => $"Below the minimal detectable change ({error}): within measurement error.",
            ChangeClass.DetectableBelowImportant => $"Reaches the minimal detectable change ({error}), not the minimal important change ({worth}).",
            ChangeClass.ImportantWithinError => $"Reaches the minimal important change ({worth}), not the minimal detectable change ({error}): inside measurement error.",
            ChangeClass.Both => $"Reaches the minimal detectable change ({error}) and the minimal important change ({worth}).",
            ChangeClass.DetectableImportanceUnknown => $"Reaches the minimal detectable change ({error}); the catalogue has no minimal important change to compare with.",
            ChangeClass.BelowImportantErrorUnknown => $"Below the minimal important change ({worth}); the catalogue has no minimal detectable change to compare with.",
            ChangeClass.ImportantErrorUnknown => $"Reaches the minimal important change ({worth}); the catalogue has no minimal detectable change to compare with.",
            ChangeClass.CategoryChange => "A change of category; no difference is computed.",
            ChangeClass.SameCategory => "The same category at both times.",
            _ => "The catalogue has no threshold to compare with.",
        };
    }

    /// <summary>The number with its owner: level, hand, people, source, and whether it fits this person.</summary>
    private static string Row(MeasureDefinition measure, ThresholdChoice choice)
    {
        var row = choice.Row;
        var kind = row.Kind == ThresholdKind.Detectable ? "Minimal detectable change" : "Minimal important change";
        var parts = new List<string> { measure.Threshold(choice.Value) };
        if (row.Level is { } level)
            parts.Add($"{level} %");
        if (row.Hand != HandRole.Any)
            parts.Add(Hand(row.Hand));
        parts.Add(row.Population.Text);
        if (row.N is { } n)
            parts.Add($"n = {n}");
        parts.Add(row.Source.ToString());
        parts.Add($"row {row.Id}");
        var misfit = choice.Misfit is null ? "" : $" {Wording.Sentence(Wording.Capital(choice.Misfit))}";
        return $"{kind}: {string.Join(", ", parts)}. {Wording.Sentence($"Row chosen: {choice.Why}")}{misfit}";
    }

    private static string Hand(HandRole hand) => hand switch
    {
        HandRole.MoreAffected => "more affected hand",
        HandRole.LessAffected => "less affected hand",
        HandRole.AffectedDominant => "affected dominant hand",
        HandRole.AffectedNonDominant => "affected non-dominant hand",
        HandRole.Dominant => "dominant hand",
        _ => "non-dominant hand",
    };

    public static string Value(MeasureDefinition? measure, MeasureResult result) =>
        result.Status != MeasureStatus.Completed ? Status(result)
        : result.Grade is { } grade ? $"grade {grade}"
        : result.Value is not { } value ? "no value recorded"
        : measure is null ? $"{Wording.Number(value, 2)} {result.Unit}".TrimEnd()
        // Whatever unit it was sent in, one series reads in one unit.
        : measure.Value(measure.ValueOf(result) ?? value);

    private static string Status(MeasureResult result)
    {
        var words = CodeLists.MeasureStatus.Words(result.Status.Code());
        if (result.TimeLimitSeconds is { } limit)
            words += $" of {Wording.Number(limit)} s";
        return result.PegsPlaced is { } pegs ? $"{words}, {Wording.Count(pegs, "peg")} placed" : words;
    }

    private static DateOnly Day(ProgrammeRecord record, MeasureResult result) => Schedule.DayOf(result.MeasuredAt, record.Programme.TimeZone);
}
