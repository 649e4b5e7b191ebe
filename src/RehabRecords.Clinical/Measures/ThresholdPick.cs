namespace RehabRecords.Clinical;

/// <summary>
/// Picks the threshold row that fits the person best, and says why. A row of the wrong hand, of another variant or from
/// memory is never used; a row of another population is used only when none fits, and is shown as such.
/// </summary>
internal static class ThresholdPick
{
    private enum Fit
    {
        Yes,
        NotKnown,
        No,
    }

    private sealed record Candidate(Threshold Row, decimal Value, Fit Hand, Fit Condition, Fit Window);

    public static ThresholdChoice? For(
        MeasureDefinition measure, ThresholdKind kind, MeasureResult first, MeasureResult last, decimal firstValue, PersonContext person)
    {
        var variant = measure.VariantOf(first);
        var (dayFirst, dayLast) = (DaysSince(person, first), DaysSince(person, last));
        var ranked = measure.Thresholds
            .Where(row => row.Kind == kind && row.Source.Mark != Mark.FromMemory && (row.Variant is null || row.Variant == variant))
            .Select(row => new Candidate(
                row,
                row.Value ?? Math.Abs(firstValue) * row.Percent!.Value / 100m,
                HandFit(row.Hand, first.Side, person),
                row.Population.Condition == person.Condition ? Fit.Yes : Fit.No,
                WindowFit(row.Population, dayFirst, dayLast)))
            .Where(candidate => candidate.Hand != Fit.No)
            .OrderBy(candidate => candidate.Condition)
            .ThenBy(candidate => candidate.Hand)
            .ThenBy(candidate => candidate.Window)
            .ThenByDescending(candidate => candidate.Row.Hand != HandRole.Any)
            .ThenBy(candidate => WindowLength(candidate.Row.Population))
            .ThenByDescending(candidate => candidate.Row.Level ?? 0)
            .ThenBy(candidate => candidate.Row.Source.Mark)
            .ThenByDescending(candidate => candidate.Value)
            .ThenBy(candidate => candidate.Row.Id, StringComparer.Ordinal)
            .ToList();
        if (ranked.Count == 0)
            return null;
        var best = ranked[0];
        return new(best.Row, best.Value, Why(measure, best, ranked), Misfit(best, dayFirst, dayLast, person));
    }

    private static int? DaysSince(PersonContext person, MeasureResult result) =>
        person.DaysSinceOnset(DateOnly.FromDateTime(result.MeasuredAt.DateTime));

    private static Fit HandFit(HandRole row, Side? tested, PersonContext person)
    {
        if (row == HandRole.Any)
            return Fit.Yes;
        if (tested is not (Side.Left or Side.Right))
            return Fit.NotKnown;
        // Null: not recorded, or both or neither, so that "more" and "less" affected cannot be told apart.
        bool? affected = person.AffectedSide is Side.Left or Side.Right ? person.AffectedSide == tested : null;
        bool? dominant = person.DominantHand is Side.Left or Side.Right ? person.DominantHand == tested : null;
        bool? wanted = row switch
        {
            HandRole.MoreAffected => affected,
            HandRole.LessAffected => !affected,
            HandRole.Dominant => dominant,
            HandRole.NonDominant => !dominant,
            HandRole.AffectedDominant => affected & dominant,
            _ => affected & !dominant,
        };
        return wanted switch { true => Fit.Yes, false => Fit.No, null => Fit.NotKnown };
    }

    // Both results must lie in the window: a threshold of the first weeks does not speak for a change that ended in year two.
    private static Fit WindowFit(Population population, int? dayFirst, int? dayLast)
    {
        if (population.FromDay is null && population.ToDay is null)
            return Fit.Yes;
        if (dayFirst is null || dayLast is null)
            return Fit.NotKnown;
        return dayFirst >= (population.FromDay ?? 0) && dayLast <= (population.ToDay ?? int.MaxValue) ? Fit.Yes : Fit.No;
    }

    private static int WindowLength(Population population) =>
        population.FromDay is null && population.ToDay is null ? int.MaxValue
        : population.ToDay is { } to ? to - (population.FromDay ?? 0)
        : int.MaxValue - 1;

    private static string Why(MeasureDefinition measure, Candidate best, List<Candidate> ranked)
    {
        var hand = best.Row.Hand == HandRole.Any ? "any hand" : Hands.Text(best.Row.Hand);
        var why = $"{hand}; {best.Row.Population.Text}";
        var others = ranked.Skip(1).Where(other => other.Condition == Fit.Yes && other.Value != best.Value)
            .Select(other => $"{measure.Format(other.Value)} ({other.Row.Source.Citation})").ToList();
        return others.Count == 0 ? why : $"{why}; also published: {string.Join(", ", others)}";
    }

    private static string? Misfit(Candidate best, int? dayFirst, int? dayLast, PersonContext person)
    {
        var parts = new List<string>();
        var population = best.Row.Population;
        if (best.Condition == Fit.No)
            parts.Add($"different population: {population.Text}");
        else if (best.Window == Fit.No)
            parts.Add($"different population: {population.Text}, {Window(population)}; these tests were on days {dayFirst} and {dayLast} after onset");
        else if (best.Window == Fit.NotKnown)
            parts.Add($"population not confirmed: {population.Text}, {Window(population)}; day of onset not recorded or after a test");
        if (best.Hand == Fit.NotKnown)
            parts.Add($"hand not confirmed: row of the {Hands.Text(best.Row.Hand)}; {NotRecorded(person)}");
        return parts.Count == 0 ? null : string.Join("; ", parts);
    }

    private static string NotRecorded(PersonContext person) =>
        person.AffectedSide is not (Side.Left or Side.Right) ? "one affected side is not recorded" : "one dominant hand is not recorded";

    private static string Window(Population population)
    {
        var range = population.ToDay is { } to ? $"days {population.FromDay ?? 0} to {to}" : $"from day {population.FromDay}";
        return population.WindowMark == Mark.Published ? range : $"{range} (window set here)";
    }
}

/// <summary>Hands in words.</summary>
internal static class Hands
{
    public static string Text(HandRole role) => role switch
    {
        HandRole.MoreAffected => "more affected hand",
        HandRole.LessAffected => "less affected hand",
        HandRole.AffectedDominant => "affected dominant hand",
        HandRole.AffectedNonDominant => "affected non-dominant hand",
        HandRole.Dominant => "dominant hand",
        HandRole.NonDominant => "non-dominant hand",
        _ => "any hand",
    };
}
