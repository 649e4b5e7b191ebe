namespace RehabRecords.Clinical;

/// <summary>
/// Changes that are no numbers: across "could not complete", and between coded grades. No difference is computed and no
/// threshold applied; a time limit is never put in the place of a time.
/// </summary>
internal static class CategoryChange
{
    public static MeasureChange Between(MeasureDefinition measure, MeasureResult first, MeasureResult last)
    {
        var (before, after) = (Category(measure, first), Category(measure, last));
        var same = first.Status == last.Status && before == after;
        var direction = DirectionOf(measure, first, last);
        var notes = new List<string>();
        if (first.Status == MeasureStatus.StoppedAtLimit && last.Status == MeasureStatus.StoppedAtLimit && first.PegsPlaced is { } had && last.PegsPlaced is { } has)
            notes.Add($"Pegs placed within the limit: {had}, then {has}");
        var word = direction switch { ChangeDirection.Improved => ", better", ChangeDirection.Worsened => ", worse", _ => "" };
        var text = $"{ChangeText.Name(measure, first.Side)}{(first.Site is { } site ? $", {site}" : "")}: {before}, then {after}. "
            + (same ? "The same category." : $"A change of category{word}; no difference is computed.")
            + (notes.Count > 0 ? $" {notes[0]}." : "");
        return new(measure, first.Side, first, last, same ? ChangeClass.SameCategory : ChangeClass.CategoryChange, direction, null, null, null,
            notes, text, [first.Evidence, last.Evidence]);
    }

    /// <summary>Grade of a coded measure; a whole number sent as value stands for the grade of that name.</summary>
    public static string? GradeOf(MeasureResult result) => result.Grade ?? (result.Value is { } value ? value.ToString("0.##") : null);

    private static string Category(MeasureDefinition measure, MeasureResult result) => result.Status switch
    {
        MeasureStatus.Completed when measure.Scale == ScaleKind.Grades => $"grade {GradeOf(result) ?? "not recorded"}",
        MeasureStatus.Completed => measure.ValueOf(result) is { } value ? $"completed: {measure.FormatWithUnit(value)}" : "completed",
        MeasureStatus.StoppedAtLimit => "stopped at the limit"
            + (result.TimeLimitSeconds is { } limit ? $" of {limit:0.##} s" : "")
            + (result.PegsPlaced is { } pegs ? $" with {pegs} pegs placed" : ""),
        MeasureStatus.Unable => "unable",
        MeasureStatus.NotAttempted => "not attempted",
        MeasureStatus.Refused => "refused",
        MeasureStatus.NotApplicable => "not applicable",
        _ => "invalid trial",
    };

    private static ChangeDirection DirectionOf(MeasureDefinition measure, MeasureResult first, MeasureResult last)
    {
        if (measure.Scale == ScaleKind.Grades && first.Status == MeasureStatus.Completed && last.Status == MeasureStatus.Completed)
        {
            var (from, to) = (Place(measure, first), Place(measure, last));
            return from < 0 || to < 0 ? ChangeDirection.Undirected : MeasureChange.DirectionOf(measure.Direction, to - from);
        }
        // Only these three are rungs of one ladder; refused, not attempted and the like say nothing of ability.
        int? Rung(MeasureStatus status) => status switch
        {
            MeasureStatus.Unable => 0,
            MeasureStatus.StoppedAtLimit => 1,
            MeasureStatus.Completed => 2,
            _ => null,
        };
        return (Rung(first.Status), Rung(last.Status)) switch
        {
            (null, _) or (_, null) => ChangeDirection.Undirected,
            (int from, int to) when from == to && first.PegsPlaced is { } had && last.PegsPlaced is { } has => MeasureChange.DirectionOf(Direction.HigherIsBetter, has - had),
            (int from, int to) => MeasureChange.DirectionOf(Direction.HigherIsBetter, to - from),
        };
    }

    private static int Place(MeasureDefinition measure, MeasureResult result) =>
        GradeOf(result) is { } grade ? measure.Grades.ToList().IndexOf(grade) : -1;
}
