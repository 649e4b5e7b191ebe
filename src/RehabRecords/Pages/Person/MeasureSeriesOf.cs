using RehabRecords.Clinical;
using RehabRecords.Notes;
using RehabRecords.Pages.Charts;
using RehabRecords.Progress;
using RehabRecords.Terms;
using MeasureStatus = RehabRecords.Clinical.MeasureStatus;
using Schedule = RehabRecords.Clinical.Schedule;

namespace RehabRecords.Pages.Person;

/// <summary>The measures of a record as series to draw: like with like only, by side, variant and site.</summary>
internal static class MeasureSeriesOf
{
    public static IEnumerable<MeasureSeries> All(ProgrammeRecord record, ProgrammeFindings findings)
    {
        var number = 0;
        foreach (var series in record.Measures.Where(m => m.PartOf is null && m.Measure != MeasureCode.GasLevel)
            .GroupBy(m => (m.Measure, m.Side, Variant: findings.Measures.GetValueOrDefault(m.Measure)?.VariantOf(m) ?? m.Variant, m.Site)))
        {
            number++;
            var definition = findings.Measures.GetValueOrDefault(series.Key.Measure);
            var ordered = series.OrderBy(m => m.MeasuredAt).ThenBy(m => m.Evidence, StringComparer.Ordinal).ToList();
            var name = definition is null ? series.Key.Measure : record.MeasureName(definition.Title, series.Key.Side)
                + (series.Key.Site is null ? "" : $", {series.Key.Site}") + (series.Key.Variant is null ? "" : $", {series.Key.Variant}");
            var changes = findings.Changes.Where(c => c.First.Measure == series.Key.Measure && c.Side == series.Key.Side
                && c.Measure.VariantOf(c.Last) == series.Key.Variant && c.Last.Site == series.Key.Site).ToList();
            var norm = findings.Norms.FirstOrDefault(n => n.Measure.Id == series.Key.Measure && n.Result.Side == series.Key.Side);
            var points = ordered.Select(m => new ChartPoint(
                Schedule.DayOf(m.MeasuredAt, record.Programme.TimeZone), (double?)definition?.ValueOf(m), Words(definition, m), m.Evidence)).ToList();
            yield return new MeasureSeries(
                Wording.Capital(name), points,
                definition is { Scale: not ScaleKind.Grades } && points.Count > 1 && points.Exists(p => p.Value is not null) ? Chart($"measure-{number}", name, definition, points, changes, norm) : null,
                changes, norm, findings.MeasureTrends.FirstOrDefault(t => t.Measure.Id == series.Key.Measure && t.Side == series.Key.Side && t.Trend.Count >= 5));
        }
    }

    /// <summary>A result as a person reads it: the value with its unit, the grade, or what became of the test.</summary>
    public static string Words(MeasureDefinition? definition, MeasureResult result) =>
        result.Status != MeasureStatus.Completed ? CodeLists.MeasureStatus.Words(result.Status.Code())
        : result.Grade is { } grade ? $"grade {grade}"
        : definition?.ValueOf(result) is { } value ? definition.FormatWithUnit(value)
        : result.Value is { } other ? $"{Wording.Number(other)} {result.Unit}" : "no value";

    private static MeasureChart Chart(
        string id, string name, MeasureDefinition measure, IReadOnlyList<ChartPoint> points, IReadOnlyList<MeasureChange> changes, NormFinding? norm)
    {
        var change = changes.FirstOrDefault(c => c.Difference is not null);
        var baseline = change is null ? null : (double?)measure.ValueOf(change.First);
        var better = measure.Direction == Direction.LowerIsBetter ? -1 : 1;
        return new MeasureChart(id, Wording.Capital(name), measure.UnitText, points)
        {
            ErrorBand = baseline is { } b && change!.Detectable is { } error
                ? (b, (double)error.Value, $"the first value and the measurement error around it, {measure.FormatWithUnit(error.Value)} ({error.Row.Source.Citation})") : null,
            Important = baseline is { } from && change!.Important is { } important && measure.Direction != Direction.Neither
                ? (from + better * (double)important.Value, $"an important change from the first value, {measure.FormatWithUnit(important.Value)} ({important.Row.Source.Citation})") : null,
            Norm = norm is { Confirmed: true, Comparison: { } found } && found.Table.Unit == measure.Unit
                ? ((double)found.Cell.Mean, (double)found.Cell.Sd, $"mean of the norm and one standard deviation on either side ({found.Table.Source.Citation})") : null,
        };
    }
}
