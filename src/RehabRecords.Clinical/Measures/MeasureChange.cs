namespace RehabRecords.Clinical;

/// <summary>The change between two results of one measure on one side.</summary>
/// <param name="Measure">The measure.</param>
/// <param name="Side">Side tested; null for the whole person.</param>
/// <param name="First">Earlier result.</param>
/// <param name="Last">Later result.</param>
/// <param name="Class">How it stands to the thresholds.</param>
/// <param name="Direction">Which way.</param>
/// <param name="Difference">Last minus first in the measure's unit; null for a change of category.</param>
/// <param name="Detectable">Row used for measurement error, and why.</param>
/// <param name="Important">Row used for importance, and why.</param>
/// <param name="Notes">What a reader must know: different population, practice effect, pegs placed.</param>
/// <param name="Text">In plain words.</param>
/// <param name="Evidence">Addresses of both results.</param>
public sealed record MeasureChange(
    MeasureDefinition Measure, Side? Side, MeasureResult First, MeasureResult Last,
    ChangeClass Class, ChangeDirection Direction, decimal? Difference,
    ThresholdChoice? Detectable, ThresholdChoice? Important,
    IReadOnlyList<string> Notes, string Text, IReadOnlyList<string> Evidence)
{
    /// <summary>
    /// Classifies the change between two results. Values are compared as decimals, so that a change of exactly the
    /// threshold counts as reached ("has to reach", Lin 2010): 0.96 - 0.80 is 0.16, which binary fractions would miss.
    /// </summary>
    /// <param name="measure">The measure.</param>
    /// <param name="first">Earlier result.</param>
    /// <param name="last">Later result.</param>
    /// <param name="person">What decides which rows fit.</param>
    /// <param name="firstToSecond">True when these are the first two tests of a series, where practice alone shows.</param>
    /// <exception cref="UnfitInputException">
    /// The results are not of this measure, not in time order, or of different sides, sites or variants.
    /// </exception>
    public static MeasureChange Between(MeasureDefinition measure, MeasureResult first, MeasureResult last, PersonContext person, bool firstToSecond = false)
    {
        ArgumentNullException.ThrowIfNull(measure);
        ArgumentNullException.ThrowIfNull(first);
        ArgumentNullException.ThrowIfNull(last);
        ArgumentNullException.ThrowIfNull(person);
        RefuseUnlike(measure, first, last);
        if (measure.Scale == ScaleKind.Grades || first.Status != MeasureStatus.Completed || last.Status != MeasureStatus.Completed)
            return CategoryChange.Between(measure, first, last);

        var (from, to) = (ValueOf(measure, first), ValueOf(measure, last));
        var difference = to - from;
        var direction = DirectionOf(measure.Direction, difference);
        var detectable = ThresholdPick.For(measure, ThresholdKind.Detectable, first, last, from, person);
        var important = ThresholdPick.For(measure, ThresholdKind.Important, first, last, from, person);
        var kind = Classify(Math.Abs(difference), detectable?.Value, important?.Value);
        var notes = new List<string>();
        if (detectable?.Misfit is { } misfit)
            notes.Add($"Detectable change: {misfit}");
        if (important?.Misfit is { } other)
            notes.Add($"Important change: {other}");
        if (firstToSecond && measure.PracticeEffect && direction == ChangeDirection.Improved)
            notes.Add("First to second test: part of the gain may be practice with the test");
        var text = ChangeText.Of(measure, first.Side, from, to, direction, kind, detectable, important, notes);
        return new(measure, first.Side, first, last, kind, direction, difference, detectable, important, notes, text, [first.Evidence, last.Evidence]);
    }

    /// <summary>
    /// First-to-last change of every measure, side, site and variant that has two results or more, in order of the
    /// catalogue. Where the series starts or ends with a test that could not be completed, the change of category comes
    /// first and the change between the first and last completed test, when there are two, follows it.
    /// Results of measures the catalogue does not know are left out. The order of arrival does not matter.
    /// </summary>
    public static IReadOnlyList<MeasureChange> All(MeasureCatalogue catalogue, IReadOnlyList<MeasureResult> results, PersonContext person)
    {
        ArgumentNullException.ThrowIfNull(catalogue);
        var changes = new List<MeasureChange>();
        var series = results
            .Where(r => catalogue.Find(r.Measure) is not null && r.Measure != "gas-level")
            .GroupBy(r => (r.Measure, r.Side, r.Site, Variant: catalogue.Get(r.Measure).VariantOf(r)))
            .OrderBy(g => catalogue.Get(g.Key.Measure).Order).ThenBy(g => g.Key.Side).ThenBy(g => g.Key.Site, StringComparer.Ordinal)
            .ThenBy(g => g.Key.Variant, StringComparer.Ordinal);
        foreach (var group in series)
        {
            var measure = catalogue.Get(group.Key.Measure);
            var ordered = group.OrderBy(r => r.MeasuredAt).ThenBy(r => r.Evidence, StringComparer.Ordinal).ToList();
            if (ordered.Count < 2)
                continue;
            var whole = Between(measure, ordered[0], ordered[^1], person, ordered.Count == 2);
            changes.Add(whole);
            var completed = ordered.Where(r => r.Status == MeasureStatus.Completed).ToList();
            if (whole.Difference is null && measure.Scale != ScaleKind.Grades && completed.Count >= 2)
                changes.Add(Between(measure, completed[0], completed[^1], person, completed.Count == 2));
        }
        return changes;
    }

    /// <summary>
    /// The four classes, and what is left when only one threshold, or none, is published. Both comparisons are
    /// "reaches": a change equal to the threshold counts.
    /// </summary>
    /// <param name="size">Size of the change, 0 or more.</param>
    /// <param name="detectable">Detectable change, or null.</param>
    /// <param name="important">Important change, or null.</param>
    public static ChangeClass Classify(decimal size, decimal? detectable, decimal? important) => (size >= detectable, size >= important) switch
    {
        _ when detectable is null && important is null => ChangeClass.NoThreshold,
        (true, true) => ChangeClass.Both,
        (true, false) => important is null ? ChangeClass.DetectableImportanceUnknown : ChangeClass.DetectableBelowImportant,
        (false, true) => detectable is null ? ChangeClass.ImportantErrorUnknown : ChangeClass.ImportantWithinError,
        _ => detectable is null ? ChangeClass.BelowImportantErrorUnknown : ChangeClass.BelowDetectable,
    };

    /// <summary>Which way a difference went, for a measure that gets better in the given direction.</summary>
    public static ChangeDirection DirectionOf(Direction better, decimal difference) => (better, Math.Sign(difference)) switch
    {
        (_, 0) => ChangeDirection.Unchanged,
        (Clinical.Direction.HigherIsBetter, > 0) or (Clinical.Direction.LowerIsBetter, < 0) => ChangeDirection.Improved,
        (Clinical.Direction.Neither, _) => ChangeDirection.Undirected,
        _ => ChangeDirection.Worsened,
    };

    private static decimal ValueOf(MeasureDefinition measure, MeasureResult result) =>
        measure.ValueOf(result)
        ?? throw new UnfitInputException("value", null, "a value for a completed test", "send the value, or the status that says why there is none");

    private static void RefuseUnlike(MeasureDefinition measure, MeasureResult first, MeasureResult last)
    {
        if (first.Measure != measure.Id || last.Measure != measure.Id)
            throw new UnfitInputException("measure", $"{first.Measure} and {last.Measure}", measure.Id, "compare results of one measure");
        if (first.Side != last.Side)
            throw new UnfitInputException("side", $"{first.Side?.Code() ?? "none"} and {last.Side?.Code() ?? "none"}", "the same side", "compare results of one side");
        if (first.Site != last.Site)
            throw new UnfitInputException("site", $"{first.Site ?? "none"} and {last.Site ?? "none"}", "the same site", "compare results of one site");
        if (measure.VariantOf(first) is var variant && variant != measure.VariantOf(last))
            throw new UnfitInputException("variant", $"{variant ?? "none"} and {measure.VariantOf(last) ?? "none"}", "the same variant", "compare results of one version of the procedure");
        if (last.MeasuredAt < first.MeasuredAt)
            throw new UnfitInputException("measuredAt", $"{last.MeasuredAt:O}", $"not before {first.MeasuredAt:O}", "give the earlier result first");
    }
}
