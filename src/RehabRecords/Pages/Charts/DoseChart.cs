using OxyPlot;
using OxyPlot.Annotations;
using OxyPlot.Series;
using RehabRecords.Clinical;

namespace RehabRecords.Pages.Charts;

/// <summary>Repetitions of one exercise, week by week, beside what was asked for.</summary>
public sealed record DoseChart(string Id, string Title, IReadOnlyList<Dose> Weeks)
{
    public string Description =>
        $"Weeks {Weeks[0].Week} to {Weeks[^1].Week}. Bars: repetitions reported; a week without a bar has no report of an amount. Short lines: repetitions prescribed.";

    public string ToSvg()
    {
        var plot = Look.Plot();
        var first = Weeks[0].Week;
        plot.Axes.Add(new OxyPlot.Axes.LinearAxis
        {
            Position = OxyPlot.Axes.AxisPosition.Bottom,
            Title = "week of the programme",
            Minimum = first - .6,
            Maximum = Math.Max(Weeks[^1].Week, first + 3) + .6,
            MajorStep = Weeks.Count > 16 ? 4 : 1,
            MinorTickSize = 0,
            TicklineColor = Look.Faint,
        });
        var axis = Look.Values("repetitions");
        axis.Minimum = 0;
        axis.Maximum = Math.Max(1, Weeks.Max(w => Math.Max(w.Repetitions ?? 0, w.PlannedRepetitions ?? 0)) * 1.1);
        plot.Axes.Add(axis);
        var bars = new RectangleBarSeries { FillColor = OxyColor.FromRgb(0xb0, 0xb0, 0xb0), StrokeColor = Look.Ink, StrokeThickness = 1 };
        foreach (var week in Weeks)
        {
            if (week.Repetitions is { } done)
                bars.Items.Add(new RectangleBarItem(week.Week - .3, 0, week.Week + .3, done));
            if (week.PlannedRepetitions is { } planned)
                plot.Annotations.Add(new LineAnnotation
                {
                    Type = LineAnnotationType.Horizontal,
                    Y = planned,
                    MinimumX = week.Week - .42,
                    MaximumX = week.Week + .42,
                    Color = Look.Ink,
                    StrokeThickness = 2.5,
                    LineStyle = LineStyle.Solid,
                    Layer = AnnotationLayer.AboveSeries,
                });
        }
        plot.Series.Add(bars);
        return SvgChart.Of(plot, Id, Title, Description, 200);
    }
}
