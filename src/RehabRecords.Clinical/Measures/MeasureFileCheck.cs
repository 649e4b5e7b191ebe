namespace RehabRecords.Clinical;

/// <summary>What a measure file must hold beyond its shape.</summary>
internal static class MeasureFileCheck
{
    public static IEnumerable<(string Field, string Problem)> Problems(string file, MeasureDefinition measure)
    {
        if (Path.GetFileNameWithoutExtension(file) != measure.Id)
            yield return ("id", $"is {measure.Id}; it must be the file's name");
        if (measure.Order < 1)
            yield return ("order", "must be 1 or more");
        foreach (var (field, text) in new[] { ("title", measure.Title), ("recorded", measure.Recorded), ("unit", measure.Unit), ("unitText", measure.UnitText), ("licence", measure.Licence) })
            if (string.IsNullOrWhiteSpace(text))
                yield return (field, "must not be empty");
        if (measure.Minimum >= measure.Maximum)
            yield return ("minimum", "must be below maximum");
        if (measure.Step <= 0)
            yield return ("step", "must be above 0");
        if (measure.Decimals is < 0 or > 4)
            yield return ("decimals", "must be 0 to 4");
        if (measure.Trials < 1)
            yield return ("trials", "must be 1 or more");
        if ((measure.Scale == ScaleKind.Grades) != (measure.Grades.Count > 1))
            yield return ("grades", "are for a coded measure, and it needs two or more");
        if (measure.Scale == ScaleKind.Grades && measure.Thresholds.Count > 0)
            yield return ("thresholds", "do not apply to coded grades");
        if (!measure.Statuses.Contains(MeasureStatus.Completed))
            yield return ("statuses", "must hold completed");
        foreach (var problem in SourceProblems("source", measure.Source))
            yield return problem;
        for (var i = 0; i < measure.Remarks.Count; i++)
            foreach (var problem in SourceProblems($"remarks[{i}].source", measure.Remarks[i].Source))
                yield return problem;
        for (var i = 0; i < measure.OtherUnits.Count; i++)
            if (measure.OtherUnits[i].Factor <= 0)
                yield return ($"otherUnits[{i}].factor", "must be above 0");
        var ids = new HashSet<string>();
        for (var i = 0; i < measure.Thresholds.Count; i++)
        {
            if (!ids.Add(measure.Thresholds[i].Id))
                yield return ($"thresholds[{i}].id", $"{measure.Thresholds[i].Id} is there twice");
            foreach (var (field, problem) in RowProblems(measure, measure.Thresholds[i]))
                yield return ($"thresholds[{i}].{field}", problem);
        }
    }

    public static IEnumerable<(string Field, string Problem)> SourceProblems(string field, Source source)
    {
        if (string.IsNullOrWhiteSpace(source.Citation))
            yield return (field + ".citation", "must name where the value comes from");
        if (source.Mark == Mark.Computed && string.IsNullOrWhiteSpace(source.Note))
            yield return (field + ".note", "must say what was computed");
    }

    private static IEnumerable<(string Field, string Problem)> RowProblems(MeasureDefinition measure, Threshold row)
    {
        if ((row.Value is null) == (row.Percent is null))
            yield return ("value", "give either value or percent");
        if (row.Value <= 0 || row.Percent <= 0)
            yield return (row.Value is null ? "percent" : "value", "must be above 0");
        if (row.RangeFrom >= row.Value)
            yield return ("rangeFrom", "must be below value, the cautious end of the range");
        if (row.Kind == ThresholdKind.Detectable && row.Level is not (90 or 95))
            yield return ("level", "must be 90 or 95 for a detectable change");
        if (row.Kind == ThresholdKind.Important && row.Level is not null)
            yield return ("level", "belongs to a detectable change only");
        if (row.Hand != HandRole.Any && measure.Laterality != Laterality.PerSide)
            yield return ("hand", "must be any where no side is tested");
        if (row.Variant is not null && !measure.Variants.Contains(row.Variant))
            yield return ("variant", "is not one of the measure's variants");
        if (row.N <= 0)
            yield return ("n", "must be above 0");
        var (from, to, mark) = (row.Population.FromDay, row.Population.ToDay, row.Population.WindowMark);
        if (from < 0 || to < from)
            yield return ("population.fromDay", "must be 0 or more and not after toDay");
        if ((from is null && to is null) != (mark is null))
            yield return ("population.windowMark", "goes with a window of days, and only with one");
        foreach (var problem in SourceProblems("source", row.Source))
            yield return problem;
    }
}
