namespace RehabRecords.Clinical;

/// <summary>Checks a result against its measure.</summary>
internal static class ResultCheck
{
    public static IEnumerable<InputProblem> Problems(MeasureDefinition measure, MeasureResult result)
    {
        if (measure.Laterality == Laterality.PerSide && result.Side is not (Side.Left or Side.Right))
            yield return new("side", result.Side?.Code(), "left or right", "say which side was tested");
        if (measure.Laterality == Laterality.WholePerson && result.Side is not null)
            yield return new("side", result.Side?.Code(), "no side", $"leave it out: {measure.Title} is of the whole person");
        if (!measure.Statuses.Contains(result.Status))
            yield return new("status", result.Status.Code(), $"one of {string.Join(", ", measure.Statuses.Select(s => s.Code()))}", "use a status of this measure");
        if (result.Variant is not null && !measure.Variants.Contains(result.Variant))
            yield return new("variant", result.Variant, measure.Variants.Count == 0 ? "none" : $"one of {string.Join(", ", measure.Variants)}", "use a variant of the catalogue or leave it out");
        if (measure.NeedsSite && string.IsNullOrWhiteSpace(result.Site))
            yield return new("site", null, "a muscle group or movement", "say which one was tested");
        if (!measure.NeedsSite && result.Site is not null)
            yield return new("site", result.Site, "no site", $"leave it out: {measure.Title} is not taken of single muscle groups or movements");
        if (result.PegsPlaced is < 0 or > 9)
            yield return new("pegsPlaced", $"{result.PegsPlaced}", "0 to 9", "count the pegs in their holes when the test was stopped");
        if (result.PegsPlaced is not null && measure.Id != "nine-hole-peg")
            yield return new("pegsPlaced", $"{result.PegsPlaced}", "nothing, except for the Nine-Hole Peg Test", "leave it out");
        if (result.TimeLimitSeconds is <= 0 or > 3600)
            yield return new("timeLimitSeconds", $"{result.TimeLimitSeconds}", "above 0, at most 3600 s", "send the limit that was in force");
        var values = measure.Scale == ScaleKind.Grades ? Grade(measure, result) : Values(measure, result);
        foreach (var problem in values)
            yield return problem;
    }

    private static IEnumerable<InputProblem> Grade(MeasureDefinition measure, MeasureResult result)
    {
        var grades = $"one of {string.Join(", ", measure.Grades)}";
        var grade = CategoryChange.GradeOf(result);
        if (result.Status != MeasureStatus.Completed)
        {
            if (grade is not null)
                yield return new("grade", grade, $"none with status {result.Status.Code()}", "leave the grade out or send status completed");
        }
        else if (grade is null || !measure.Grades.Contains(grade))
        {
            yield return new("grade", grade, grades, "send the grade as text");
        }
    }

    private static IEnumerable<InputProblem> Values(MeasureDefinition measure, MeasureResult result)
    {
        if (result.Grade is not null)
            yield return new("grade", result.Grade, "no grade: this measure has a value", "send value instead");
        var units = string.Join(" or ", measure.OtherUnits.Select(u => u.Unit).Prepend(measure.Unit));
        if (measure.InOwnUnit(0, result.Unit) is null)
        {
            yield return new("unit", result.Unit, units, "send the value in one of these UCUM units");
            yield break;
        }
        if (result.Status != MeasureStatus.Completed)
        {
            // A limit or a last good trial in the place of a value would later be read as a measurement.
            if (result.Value is not null)
                yield return new("value", $"{result.Value}", $"none with status {result.Status.Code()}",
                    "leave the value out (a time limit goes in timeLimitSeconds), or send status completed");
            if (result.Status == MeasureStatus.StoppedAtLimit && result.TimeLimitSeconds is null)
                yield return new("timeLimitSeconds", null, "the limit in seconds", "send the limit at which the test was stopped");
            yield break;
        }
        if (result.Value is null && result.Trials.Count == 0)
            yield return new("value", null, Range(measure), "send the value, or the status that says why there is none");
        if (result.Value is { } value)
            foreach (var problem in Number(measure, "value", value, result.Unit))
                yield return problem;
        foreach (var trial in result.Trials)
            foreach (var problem in Number(measure, "trials", trial, result.Unit))
                yield return problem;
        if (result.TimeLimitSeconds is { } limit && measure.Unit == "s" && result.Value > limit)
            yield return new("value", $"{result.Value}", $"at most the limit of {limit:0.##} s", "send status stopped-at-limit without a value, or correct the limit");
    }

    private static IEnumerable<InputProblem> Number(MeasureDefinition measure, string element, decimal sent, string? unit)
    {
        var value = measure.InOwnUnit(sent, unit)!.Value;
        if (value < measure.Minimum || value > measure.Maximum || (measure.MinimumExcluded && value == measure.Minimum))
            yield return new(element, $"{sent}", Range(measure), "check the number and its unit");
        // The step is that of the measure's own unit; a value turned from another unit cannot keep it. A mean of trials need not either.
        else if (measure.Step is { } step && (unit is null || unit == measure.Unit) && measure.TrialSummary == TrialSummary.Single
            && (value - (measure.Minimum ?? 0)) % step != 0)
            yield return new(element, $"{sent}", $"{Range(measure)} in steps of {step:0.###}", "check the number");
    }

    private static string Range(MeasureDefinition measure)
    {
        var low = measure.Minimum is { } minimum ? (measure.MinimumExcluded ? $"above {minimum:0.###}" : $"{minimum:0.###} or more") : "any";
        return measure.Maximum is { } maximum ? $"{low}, at most {maximum:0.###} {measure.UnitText}" : $"{low} {measure.UnitText}";
    }
}
