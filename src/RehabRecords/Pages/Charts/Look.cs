using OxyPlot;
using OxyPlot.Axes;

namespace RehabRecords.Pages.Charts;

/// <summary>The look that all charts share: black lines on white, patterns and labels instead of colours.</summary>
internal static class Look
{
    public static readonly OxyColor Ink = OxyColor.FromRgb(0x1a, 0x1a, 0x1a);
    public static readonly OxyColor Faint = OxyColor.FromRgb(0x59, 0x59, 0x59);
    public static readonly OxyColor Band = OxyColor.FromRgb(0xe4, 0xe4, 0xe4);

    public static PlotModel Plot() => new()
    {
        DefaultFontSize = 13,
        TextColor = Ink,
        PlotAreaBorderColor = Faint,
        PlotAreaBorderThickness = new OxyThickness(1, 0, 0, 1),
        Padding = new OxyThickness(4, 8, 12, 4),
        Culture = System.Globalization.CultureInfo.InvariantCulture,
    };

    public static DateTimeAxis Days(DateOnly from, DateOnly to) => new()
    {
        Position = AxisPosition.Bottom,
        Minimum = At(from.AddDays(-3)),
        Maximum = At(to.AddDays(3)),
        StringFormat = to.DayNumber - from.DayNumber > 300 ? "MMM yyyy" : "d MMM",
        MinimumMajorStep = 1,
        TicklineColor = Faint,
        AxislineColor = Faint,
        IsZoomEnabled = false,
    };

    public static LinearAxis Values(string title) => new()
    {
        Position = AxisPosition.Left,
        Title = title,
        // The page's type is wider than the one the plot was measured with.
        AxisTitleDistance = 16,
        TicklineColor = Faint,
        AxislineColor = Faint,
        MajorGridlineStyle = LineStyle.Dot,
        MajorGridlineColor = OxyColor.FromRgb(0xc4, 0xc4, 0xc4),
        MinorTickSize = 0,
        IsZoomEnabled = false,
    };

    public static double At(DateOnly day) => DateTimeAxis.ToDouble(day.ToDateTime(TimeOnly.MinValue));
}
