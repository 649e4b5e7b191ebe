namespace RehabRecords.Clinical;

/// <summary>A change in plain words. Every threshold carries its level, hand, population, number of people and citation.</summary>
internal static class ChangeText
{
    public static string Of(
        MeasureDefinition measure, Side? side, decimal from, decimal to, ChangeDirection direction, ChangeClass kind,
        ThresholdChoice? detectable, ThresholdChoice? important, IReadOnlyList<string> notes)
    {
        var size = measure.FormatWithUnit(Math.Abs(to - from));
        var moved = direction switch
        {
            ChangeDirection.Unchanged => "no change",
            ChangeDirection.Improved => $"{size} {(to > from ? "higher" : "lower")}, better",
            ChangeDirection.Worsened => $"{size} {(to > from ? "higher" : "lower")}, worse",
            _ => $"{size} {(to > from ? "higher" : "lower")}",
        };
        var text = $"{Name(measure, side)}: {measure.FormatWithUnit(from)} to {measure.FormatWithUnit(to)} ({moved}). {Verdict(kind)}";
        if (detectable is not null)
            text += $" {DetectableName(detectable.Row)}: {Exact(measure, detectable.Value)} ({Row(detectable.Row)}).";
        if (important is not null)
            text += $" Minimal important change: {Exact(measure, important.Value)} ({Row(important.Row)}).";
        return notes.Count == 0 ? text : $"{text} {string.Join(". ", notes)}.";
    }

    // A threshold may be finer than the measure's own step: 5.5 blocks/min must not read as 6.
    private static string Exact(MeasureDefinition measure, decimal value) =>
        $"{value.ToString("0.###", System.Globalization.CultureInfo.InvariantCulture)} {measure.UnitText}";

    public static string Name(MeasureDefinition measure, Side? side) =>
        side is { } tested ? $"{measure.Title}, {tested.Code()} {measure.SideText}" : measure.Title;

    // The level is part of the name: a 90 % threshold is never read as a 95 % one.
    private static string DetectableName(Threshold row) => $"Minimal detectable change ({row.Level} %)";

    private static string Verdict(ChangeClass kind) => kind switch
    {
        ChangeClass.BelowDetectable => "Below the minimal detectable change: within measurement error.",
        ChangeClass.DetectableBelowImportant => "Detectable, but below the minimal important change.",
        ChangeClass.ImportantWithinError => "The minimal important change is reached, but inside measurement error.",
        ChangeClass.Both => "Detectable, and the minimal important change is reached.",
        ChangeClass.DetectableImportanceUnknown => "Detectable; no usable minimal important change is known for it.",
        ChangeClass.BelowImportantErrorUnknown => "Below the minimal important change; its measurement error is not known.",
        ChangeClass.ImportantErrorUnknown => "The minimal important change is reached; its measurement error is not known.",
        _ => "No threshold is known for it.",
    };

    private static string Row(Threshold row)
    {
        var parts = new List<string>();
        if (row.Hand != HandRole.Any)
            parts.Add(Hands.Text(row.Hand));
        parts.Add(row.Population.Text);
        if (row.N is { } n)
            parts.Add($"n = {n}");
        parts.Add(row.Source.ToString());
        return string.Join("; ", parts);
    }
}
