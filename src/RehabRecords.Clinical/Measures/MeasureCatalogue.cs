namespace RehabRecords.Clinical;

/// <summary>All measures, read once from the embedded data files and checked as they are read.</summary>
public sealed class MeasureCatalogue
{
    private MeasureCatalogue(IReadOnlyList<MeasureDefinition> all) => All = all;

    /// <summary>The catalogue that ships with the library.</summary>
    public static MeasureCatalogue Default => throw new NotImplementedException();

    /// <summary>All measures, in order of the catalogue.</summary>
    public IReadOnlyList<MeasureDefinition> All { get; }

    /// <summary>A measure by id, or null.</summary>
    public MeasureDefinition? Find(string id) => throw new NotImplementedException();

    /// <summary>A measure by id.</summary>
    /// <exception cref="UnfitInputException">The catalogue has no such measure.</exception>
    public MeasureDefinition Get(string id) => throw new NotImplementedException();

    /// <summary>
    /// Checks a result against its measure: unit, range, step, side, status against value, trials, limit, grade.
    /// Elements are named value, unit, side, status, trials, timeLimitSeconds, pegsPlaced, grade, measure, variant.
    /// </summary>
    /// <returns>All problems found; empty when the result may be recorded.</returns>
    public IReadOnlyList<InputProblem> Check(MeasureResult result) => throw new NotImplementedException();
}
