using System.Collections.Frozen;

namespace RehabRecords.Clinical;

/// <summary>All measures, read once from the embedded data files and checked as they are read. Adding a measure is adding a file.</summary>
public sealed class MeasureCatalogue
{
    private static readonly Lazy<MeasureCatalogue> Shipped = new(() => Load(DataFile.Folder("Measures")));
    private readonly FrozenDictionary<string, MeasureDefinition> byId;

    private MeasureCatalogue(IReadOnlyList<MeasureDefinition> all)
    {
        All = all;
        byId = all.ToFrozenDictionary(measure => measure.Id);
    }

    /// <summary>The catalogue that ships with the library.</summary>
    /// <exception cref="CatalogueException">A data file is wrong; the message names the file and the field.</exception>
    public static MeasureCatalogue Default => Shipped.Value;

    /// <summary>All measures, in order of the catalogue.</summary>
    public IReadOnlyList<MeasureDefinition> All { get; }

    /// <summary>A catalogue from files of one's own, checked in the same way.</summary>
    /// <param name="files">File name (as a path, "Measures/x.json") and its JSON.</param>
    /// <exception cref="CatalogueException">A file is wrong.</exception>
    public static MeasureCatalogue Load(IEnumerable<(string File, string Json)> files)
    {
        var all = new List<MeasureDefinition>();
        foreach (var (file, json) in files)
        {
            var measure = DataFile.Parse<MeasureDefinition>(file, json);
            foreach (var (field, problem) in MeasureFileCheck.Problems(file, measure))
                throw new CatalogueException(file, field, problem);
            if (all.FirstOrDefault(other => other.Id == measure.Id || other.Order == measure.Order) is { } twin)
                throw new CatalogueException(file, twin.Id == measure.Id ? "id" : "order", $"is already taken by {twin.Id}");
            all.Add(measure);
        }
        return new([.. all.OrderBy(measure => measure.Order)]);
    }

    /// <summary>A measure by id, or null.</summary>
    public MeasureDefinition? Find(string id) => byId.GetValueOrDefault(id);

    /// <summary>A measure by id.</summary>
    /// <exception cref="UnfitInputException">The catalogue has no such measure.</exception>
    public MeasureDefinition Get(string id) =>
        Find(id) ?? throw new UnfitInputException("measure", id, $"one of {string.Join(", ", byId.Keys.Order(StringComparer.Ordinal))}", "use an id of the catalogue");

    /// <summary>
    /// Checks a result against its measure: unit, range, step, side, status against value, trials, limit, grade.
    /// Elements are named measure, side, status, value, unit, trials, timeLimitSeconds, pegsPlaced, grade, variant, site.
    /// </summary>
    /// <returns>All problems found; empty when the result may be recorded.</returns>
    public IReadOnlyList<InputProblem> Check(MeasureResult result)
    {
        ArgumentNullException.ThrowIfNull(result);
        return Find(result.Measure) is { } measure
            ? [.. ResultCheck.Problems(measure, result)]
            : [new("measure", result.Measure, $"one of {string.Join(", ", byId.Keys.Order(StringComparer.Ordinal))}", "use an id of the catalogue")];
    }
}
