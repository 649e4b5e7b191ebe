namespace RehabRecords.Clinical;

/// <summary>The hands a norm table tells apart. The 1985 tables are right and left, not dominant and non-dominant.</summary>
public enum NormHands
{
    /// <summary>Right and left.</summary>
    RightAndLeft,

    /// <summary>Dominant and non-dominant.</summary>
    DominantAndNonDominant,
}

/// <summary>The hand of a norm cell.</summary>
public enum NormHand
{
    /// <summary>Right.</summary>
    Right,

    /// <summary>Left.</summary>
    Left,

    /// <summary>Dominant.</summary>
    Dominant,

    /// <summary>Non-dominant.</summary>
    NonDominant,
}

/// <summary>One cell of a norm table.</summary>
/// <param name="FromAge">First year of age.</param>
/// <param name="ToAge">Last completed year of age, included.</param>
/// <param name="Sex">Female or male.</param>
/// <param name="Hand">Hand.</param>
/// <param name="Mean">Mean, in the table's unit.</param>
/// <param name="Sd">Standard deviation, in the table's unit.</param>
/// <param name="Remark">What is doubtful about the cell; null when nothing.</param>
public sealed record NormCell(int FromAge, int ToAge, Sex Sex, NormHand Hand, decimal Mean, decimal Sd, string? Remark = null);

/// <summary>A norm table.</summary>
/// <param name="Id">Id.</param>
/// <param name="Measure">Measure it is for.</param>
/// <param name="Unit">UCUM unit of the cells.</param>
/// <param name="Hands">Hands it tells apart.</param>
/// <param name="Sample">Who was measured.</param>
/// <param name="Source">Citation and mark of the cells.</param>
/// <param name="Cells">Cells.</param>
public sealed record NormTable(string Id, string Measure, string Unit, NormHands Hands, string Sample, Source Source, IReadOnlyList<NormCell> Cells);

/// <summary>A result beside the norm. It describes; a norm is no target of treatment.</summary>
/// <param name="Table">Table used.</param>
/// <param name="Cell">Cell used.</param>
/// <param name="Value">The result in the table's unit.</param>
/// <param name="Z">Standard deviations from the mean; positive is always better than the norm.</param>
/// <param name="PercentOfMean">Result over mean, per cent.</param>
/// <param name="Text">In plain words, with source and mark.</param>
/// <param name="Evidence">Address of the result.</param>
public sealed record NormComparison(NormTable Table, NormCell Cell, decimal Value, double Z, double PercentOfMean, string Text, IReadOnlyList<string> Evidence);

/// <summary>Norms by age, sex and hand.</summary>
public static class Norms
{
    private static readonly Lazy<IReadOnlyList<NormTable>> Shipped = new(() => [.. DataFile.Folder("Norms").Select(f => Check(f.File, DataFile.Parse<NormTable>(f.File, f.Json)))]);

    /// <summary>All tables, by id.</summary>
    public static IReadOnlyList<NormTable> Tables => Shipped.Value;

    /// <summary>
    /// Compares a completed result with a table: z = (value − mean) / SD where higher is better, (mean − value) / SD where
    /// lower is, so that positive is better than the norm.
    /// </summary>
    /// <param name="result">The result.</param>
    /// <param name="person">Birth date, sex and, for tables that ask for it, dominant hand.</param>
    /// <param name="table">Id of the table; null takes the first for the measure, those seen in print before those from memory.</param>
    /// <exception cref="UnfitInputException">
    /// No table; the test was not completed; sex other than female or male; age or hand not recorded, or outside the table.
    /// </exception>
    public static NormComparison Compare(MeasureResult result, PersonContext person, string? table = null)
    {
        ArgumentNullException.ThrowIfNull(result);
        ArgumentNullException.ThrowIfNull(person);
        var measure = MeasureCatalogue.Default.Get(result.Measure);
        var norm = Tables.Where(t => t.Measure == measure.Id && (table is null || t.Id == table)).OrderBy(t => t.Source.Mark).ThenByDescending(t => t.Cells.Count).FirstOrDefault()
            ?? throw new UnfitInputException("measure", table ?? measure.Id, $"one of {string.Join(", ", Tables.Select(t => t.Measure).Distinct())}", "there is no norm table for it");
        var own = measure.ValueOf(result) ?? throw new UnfitInputException("value", null, "a completed result", "a test that was not completed has no place beside a norm");
        var age = person.AgeOn(DateOnly.FromDateTime(result.MeasuredAt.DateTime)) ?? throw new UnfitInputException("birthDate", null, "a birth date", "norms go by age");
        if (person.Sex is not (Sex.Female or Sex.Male))
            throw new UnfitInputException("sex", person.Sex?.Code(), "female or male", "the tables were made for these two only");
        var hand = HandOf(norm, result.Side, person);
        var cell = norm.Cells.FirstOrDefault(c => age >= c.FromAge && age <= c.ToAge && c.Sex == person.Sex && c.Hand == hand)
            ?? throw new UnfitInputException("age", $"{age}, {hand.Code()} hand", $"{norm.Cells.Min(c => c.FromAge)} to {norm.Cells.Max(c => c.ToAge)} years, cells of the table",
                "the table says nothing of this person");
        var value = measure.Unit == norm.Unit ? own : own / measure.OtherUnits.First(u => u.Unit == norm.Unit).Factor;
        var better = measure.Direction == Direction.LowerIsBetter ? cell.Mean - value : value - cell.Mean;
        var (z, percent) = ((double)(better / cell.Sd), (double)(value / cell.Mean * 100));
        var text = $"{ChangeText.Name(measure, result.Side)}: {measure.FormatWithUnit(decimal.Round(own, measure.Decimals, MidpointRounding.AwayFromZero))}, {percent:F0} % of the mean, z {z:+0.00;-0.00;0.00} (positive is better) "
            + $"for {cell.Sex.Code()}, {cell.FromAge} to {cell.ToAge} years, {hand.Code()} hand. {norm.Source}"
            + (cell.Remark is null ? "." : $"; {cell.Remark}.");
        return new(norm, cell, value, z, percent, text, [result.Evidence]);
    }

    private static NormHand HandOf(NormTable table, Side? tested, PersonContext person)
    {
        if (tested is not (Side.Left or Side.Right))
            throw new UnfitInputException("side", tested?.Code(), "left or right", "say which hand was tested");
        if (table.Hands == NormHands.RightAndLeft)
            return tested == Side.Left ? NormHand.Left : NormHand.Right;
        if (person.DominantHand is not (Side.Left or Side.Right))
            throw new UnfitInputException("dominantHand", person.DominantHand?.Code(), "left or right", "this table goes by dominance");
        return tested == person.DominantHand ? NormHand.Dominant : NormHand.NonDominant;
    }

    private static NormTable Check(string file, NormTable table)
    {
        var measure = MeasureCatalogue.Default.Find(table.Measure) ?? throw new CatalogueException(file, "measure", $"{table.Measure} is not in the catalogue");
        if (measure.InOwnUnit(0, table.Unit) is null)
            throw new CatalogueException(file, "unit", $"{table.Unit} is not a unit of {measure.Id}");
        for (var i = 0; i < table.Cells.Count; i++)
        {
            var cell = table.Cells[i];
            if (cell.Mean <= 0 || cell.Sd <= 0 || cell.FromAge > cell.ToAge)
                throw new CatalogueException(file, $"cells[{i}]", "mean and SD must be above 0, and ages in order");
            if ((table.Hands == NormHands.RightAndLeft) != (cell.Hand is NormHand.Right or NormHand.Left))
                throw new CatalogueException(file, $"cells[{i}].hand", $"is {cell.Hand.Code()}; the table tells {table.Hands.Code()} apart");
        }
        return table;
    }
}
