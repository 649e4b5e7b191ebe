using OxyPlot;
using OxyPlot.Annotations;
using OxyPlot.Series;
using RehabRecords.Notes;
using LineSeries = OxyPlot.Series.LineSeries;

namespace RehabRecords.Pages.Charts;

/// <summary>One result as a chart and its table show it.</summary>
/// <param name="Value">Null where the test was not completed.</param>
/// <param name="Words">The value with its unit, or what became of the test.</param>
public sealed record ChartPoint(DateOnly Day, double? Value, string Words, string Evidence);

/// <summary>A measure over time, with what is needed to read a change: measurement error, importance, norm.</summary>
public sealed record MeasureChart(string Id, string Title, string Unit, IReadOnlyList<ChartPoint> Points)
{
    /// <summary>Value from which change is counted, and the error on either side of it; null when no row fits.</summary>
    public (double Baseline, double Error, string Words)? ErrorBand { get; init; }

    /// <summary>The value at which the change from the first result becomes important.</summary>
    public (double Value, string Words)? Important { get; init; }

    /// <summary>Mean and SD of the norm; only norms that may be quoted.</summary>
    public (double Mean, double Sd, string Words)? Norm { get; init; }

    public string Description
    {
        get
        {
            var values = Points.Where(p => p.Value is not null).ToList();
            var parts = new List<string> { $"{Wording.Count(Points.Count, "result")} from {Wording.Date(Points[0].Day)} to {Wording.Date(Points[^1].Day)}: first {Points[0].Words}, latest {Points[^1].Words}." };
            if (values.Count < Points.Count)
                parts.Add($"{Wording.Count(Points.Count - values.Count, "result")} without a value, marked by a cross below the scale.");
            if (ErrorBand is { } band)
                parts.Add($"Grey band: {band.Words}.");
            if (Important is { } important)
                parts.Add($"Dashed line: {important.Words}.");
            if (Norm is { } norm)
                parts.Add($"Dotted lines: {norm.Words}.");
            return string.Join(' ', parts);
        }
    }

    public string ToSvg()
    {
        var plot = Look.Plot();
        var (from, to) = (Points[0].Day, Points[^1].Day);
        plot.Axes.Add(Look.Days(from, to));
        var values = Points.Where(p => p.Value is not null).Select(p => p.Value!.Value).ToList();
        var shown = values.Concat(ErrorBand is { } e ? [e.Baseline - e.Error, e.Baseline + e.Error] : []).Concat(Important is { } i ? [i.Value] : [])
            .Concat(Norm is { } n ? [n.Mean - n.Sd, n.Mean + n.Sd] : []).DefaultIfEmpty(0).ToList();
        var (low, high) = (shown.Min(), shown.Max());
        var span = high > low ? high - low : Math.Max(1, Math.Abs(high));
        var without = Points.Any(p => p.Value is null);
        var floor = low - span * .1;
        var axis = Look.Values(Unit);
        axis.Minimum = without ? floor - span * .22 : Math.Max(floor, low >= 0 ? Math.Min(0, floor) : floor);
        axis.Maximum = high + span * .12;
        plot.Axes.Add(axis);

        if (ErrorBand is { } band)
            plot.Annotations.Add(new RectangleAnnotation { MinimumY = band.Baseline - band.Error, MaximumY = band.Baseline + band.Error, Fill = Look.Band, Layer = AnnotationLayer.BelowSeries });
        if (Norm is { } norm)
            foreach (var (y, text) in new[] { (norm.Mean - norm.Sd, ""), (norm.Mean, "norm"), (norm.Mean + norm.Sd, "") })
                plot.Annotations.Add(new LineAnnotation { Type = LineAnnotationType.Horizontal, Y = y, Color = Look.Faint, LineStyle = LineStyle.Dot, Text = text, TextColor = Look.Faint, TextHorizontalAlignment = HorizontalAlignment.Right, Layer = AnnotationLayer.BelowSeries });
        if (Important is { } important)
            plot.Annotations.Add(new LineAnnotation { Type = LineAnnotationType.Horizontal, Y = important.Value, Color = Look.Ink, LineStyle = LineStyle.Dash, Text = "important from here", TextColor = Look.Ink, TextHorizontalAlignment = HorizontalAlignment.Right, Layer = AnnotationLayer.BelowSeries });

        var line = new LineSeries { Color = Look.Ink, StrokeThickness = 1.5, MarkerType = MarkerType.Circle, MarkerSize = 4, MarkerFill = Look.Ink };
        foreach (var point in Points)
            // A result without a value breaks the line: nothing is drawn through what was not measured.
            line.Points.Add(point.Value is { } value ? new DataPoint(Look.At(point.Day), value) : DataPoint.Undefined);
        plot.Series.Add(line);
        if (without)
        {
            var crosses = new ScatterSeries { MarkerType = MarkerType.Cross, MarkerSize = 5, MarkerStroke = Look.Ink, MarkerStrokeThickness = 2 };
            foreach (var point in Points.Where(p => p.Value is null))
            {
                crosses.Points.Add(new ScatterPoint(Look.At(point.Day), floor - span * .06));
                plot.Annotations.Add(new TextAnnotation { TextPosition = new DataPoint(Look.At(point.Day), floor - span * .09), Text = point.Words, Stroke = OxyColors.Transparent, TextColor = Look.Ink, TextVerticalAlignment = VerticalAlignment.Top, FontSize = 12 });
            }
            plot.Series.Add(crosses);
        }
        return SvgChart.Of(plot, Id, Title, Description);
    }
}
