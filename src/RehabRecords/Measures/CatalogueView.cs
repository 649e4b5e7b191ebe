using RehabRecords.Clinical;
using RehabRecords.Progress;

namespace RehabRecords.Measures;

/// <summary>A measure as it may be posted, and every number a note may set beside its results.</summary>
/// <param name="Units">UCUM units a value may be sent in, the measure's own first; empty for a graded measure.</param>
/// <param name="Step">Step of the value; null when any value in the range may occur.</param>
/// <param name="Grades">Grades of a graded measure, in rising order of its scale.</param>
/// <param name="PerSide">Whether one side is tested at a time.</param>
/// <param name="NeedsSite">Whether the muscle group or movement must be named.</param>
/// <param name="Variants">Versions of the procedure, the default first; results of different ones are not compared.</param>
/// <param name="Summary">How trials become the value: single (the last), mean, median or sum.</param>
public sealed record MeasureView(
    string Id, string Title, string? ShortTitle, string Recorded, IReadOnlyList<string> Units, string UnitText, decimal? Minimum, bool MinimumExcluded, decimal? Maximum,
    decimal? Step, IReadOnlyList<string> Grades, string Direction, bool PerSide, bool NeedsSite, IReadOnlyList<string> Variants, IReadOnlyList<string> Statuses,
    int Trials, string Summary, bool PracticeEffect, string? Floor, string? Ceiling, string? CouldNotComplete, string Licence, SourceView Source,
    IReadOnlyList<CodeView> Codes, IReadOnlyList<RemarkView> Remarks, IReadOnlyList<ThresholdRowView> Thresholds, IReadOnlyList<NormTableView> Norms)
{
    public static MeasureView Of(MeasureDefinition m) => new(
        m.Id, m.Title, m.ShortTitle, m.Recorded, m.Scale == ScaleKind.Grades ? [] : [m.Unit, .. m.OtherUnits.Select(u => u.Unit)], m.UnitText, m.Minimum, m.MinimumExcluded, m.Maximum,
        m.Step, m.Grades, m.Direction.Code(), m.Laterality == Laterality.PerSide, m.NeedsSite, m.Variants, [.. m.Statuses.Select(s => s.Code())],
        m.Trials, m.TrialSummary.Code(), m.PracticeEffect, m.Floor, m.Ceiling, m.CouldNotComplete, m.Licence, SourceView.Of(m.Source),
        [.. m.Codings.Select(c => new CodeView(c.System, c.Code, c.Display, c.Side?.Code(), c.Mark.Code()))],
        [.. m.Remarks.Select(r => new RemarkView(r.Text, SourceView.Of(r.Source)))],
        [.. m.Thresholds.Select(ThresholdRowView.Of)],
        [.. Clinical.Norms.Tables.Where(t => t.Measure == m.Id).Select(NormTableView.Of)]);
}

/// <param name="Mark">How far the code was confirmed; one from memory is never written into the record.</param>
public sealed record CodeView(string System, string Code, string Display, string? Side, string Mark);

public sealed record RemarkView(string Text, SourceView Source);

/// <param name="Id">Id of the row, named by every change that was read with it.</param>
/// <param name="Kind">detectable (measurement error) or important.</param>
/// <param name="Value">In the measure's unit; the larger end where a range is published. Null for a row in per cent of the first value.</param>
/// <param name="Level">Confidence level in per cent, for detectable change.</param>
/// <param name="Classifies">Whether it may decide the class of a change; a row from memory never does.</param>
public sealed record ThresholdRowView(
    string Id, string Kind, decimal? Value, decimal? RangeFrom, decimal? Percent, int? Level, string Hand, string? Variant, PopulationView Population,
    string Method, int? N, bool Classifies, SourceView Source)
{
    public static ThresholdRowView Of(Threshold t) => new(
        t.Id, t.Kind.Code(), t.Value, t.RangeFrom, t.Percent, t.Level, t.Hand.Code(), t.Variant, PopulationView.Of(t.Population),
        t.Method, t.N, t.Source.Mark != Mark.FromMemory, SourceView.Of(t.Source));
}

/// <param name="WindowMark">Whether the days are the paper's own (published) or were set here (common-practice).</param>
public sealed record PopulationView(string Condition, string Text, int? FromDay, int? ToDay, string? WindowMark)
{
    public static PopulationView Of(Population p) => new(p.Condition, p.Text, p.FromDay, p.ToDay, p.WindowMark?.Code());
}

/// <param name="Quoted">Whether a note may quote it; a table from memory is shown in a person's progress only, as to be confirmed.</param>
public sealed record NormTableView(string Id, string Unit, string Hands, string Sample, bool Quoted, SourceView Source, IReadOnlyList<NormCellView> Cells)
{
    public static NormTableView Of(NormTable t) => new(
        t.Id, t.Unit, t.Hands.Code(), t.Sample, t.Source.Mark != Mark.FromMemory, SourceView.Of(t.Source),
        [.. t.Cells.Select(c => new NormCellView(c.FromAge, c.ToAge, c.Sex.Code(), c.Hand.Code(), c.Mean, c.Sd, c.Remark))]);
}

public sealed record NormCellView(int FromAge, int ToAge, string Sex, string Hand, decimal Mean, decimal Sd, string? Remark);
