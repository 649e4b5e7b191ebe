namespace RehabRecords.Clinical;

/// <summary>Upper-limb capacity bands.</summary>
public enum CapacityBand
{
#pragma warning disable CS1591 // the published names
    NoCapacity, Poor, Limited, Notable, Full,
#pragma warning restore CS1591
}

/// <summary>A capacity band and what it was read from.</summary>
/// <param name="Band">The band.</param>
/// <param name="Predicted">True when read from the Fugl-Meyer score, which predicts the band; false for the Action Research Arm Test, which defines it.</param>
/// <param name="Text">In plain words.</param>
/// <param name="Source">Source.</param>
/// <param name="Evidence">Address of the result.</param>
public sealed record CapacityFinding(CapacityBand Band, bool Predicted, string Text, Source Source, IReadOnlyList<string> Evidence);

/// <summary>A level of a template and the bands it is written for.</summary>
/// <param name="Level">Level, from 1.</param>
/// <param name="Bands">Bands; may be empty for a level that only a therapist chooses.</param>
public sealed record TemplateLevel(int Level, IReadOnlyList<CapacityBand> Bands);

/// <summary>The level a programme starts at, and how it came about; a reason is always kept.</summary>
/// <param name="Level">Level chosen.</param>
/// <param name="Proposed">Level the band proposed; null when none did.</param>
/// <param name="Reason">Why this level.</param>
/// <param name="Evidence">Addresses of the result behind the band; empty for the therapist's word alone.</param>
public sealed record LevelChoice(int Level, int? Proposed, string Reason, IReadOnlyList<string> Evidence);

/// <summary>The level a programme starts at: a published capacity band proposes, the therapist disposes.</summary>
public static class StartingLevel
{
    private const string File = "Rules/capacity-bands.json";

    private static readonly Lazy<BandFile> Shipped = new(Load);

    /// <summary>
    /// The capacity band of a completed result of <c>arat</c> or <c>fugl-meyer-upper-extremity</c>
    /// (Hoonhorst 2015 Arch Phys Med Rehabil 96:1845-1849, 6 months after a first ischaemic stroke).
    /// </summary>
    /// <exception cref="UnfitInputException">Another measure, no value, or out of range.</exception>
    public static CapacityFinding BandOf(MeasureResult result)
    {
        ArgumentNullException.ThrowIfNull(result);
        var predicted = result.Measure switch
        {
            "arat" => false,
            "fugl-meyer-upper-extremity" => true,
            _ => throw new UnfitInputException("measure", result.Measure, "arat or fugl-meyer-upper-extremity", "use one of the two measures the bands are published for"),
        };
        if (result.Status != MeasureStatus.Completed || result.Value is not { } value)
            throw new UnfitInputException("value", null, "a completed result with a score", "measure again, or let the therapist choose the level");
        var band = Shipped.Value.Bands.FirstOrDefault(b => predicted
                ? value >= b.FuglMeyerFrom && value <= b.FuglMeyerTo
                : value >= b.ArmTestFrom && value <= b.ArmTestTo)
            ?? throw new UnfitInputException("value", $"{value}", predicted ? "a whole score of 0 to 66" : "a whole score of 0 to 57", "check the score");
        var text = predicted
            ? $"{band.Title}, predicted from a Fugl-Meyer upper extremity score of {value:0}"
            : $"{band.Title}, by an Action Research Arm Test score of {value:0}";
        return new(band.Band, predicted, text, Shipped.Value.Source, [result.Evidence]);
    }

    /// <summary>The level a band proposes: the lowest that is written for it. Null when no level is.</summary>
    public static int? Propose(CapacityFinding finding, IReadOnlyList<TemplateLevel> levels)
    {
        ArgumentNullException.ThrowIfNull(finding);
        ArgumentNullException.ThrowIfNull(levels);
        return levels.Where(level => level.Bands.Contains(finding.Band)).Select(level => (int?)level.Level).Min();
    }

    /// <summary>The therapist's decision, beside what was proposed.</summary>
    /// <param name="chosen">Level chosen; null takes the proposal.</param>
    /// <param name="reason">The therapist's reason; needed for any level but the proposed one.</param>
    /// <param name="finding">Band, when there is one.</param>
    /// <param name="levels">Levels of the template.</param>
    /// <exception cref="UnfitInputException">No such level; no level proposed and none chosen; a choice without a reason.</exception>
    public static LevelChoice Choose(int? chosen, string? reason, CapacityFinding? finding, IReadOnlyList<TemplateLevel> levels)
    {
        ArgumentNullException.ThrowIfNull(levels);
        var proposed = finding is null ? null : Propose(finding, levels);
        var level = chosen ?? proposed ?? throw new UnfitInputException("level", null, "a level of the template", "choose one: no band proposes a level");
        if (levels.All(l => l.Level != level))
            throw new UnfitInputException("level", $"{level}", $"one of {string.Join(", ", levels.Select(l => l.Level).Order())}", "choose a level of the template");
        if (level != proposed && string.IsNullOrWhiteSpace(reason))
            throw new UnfitInputException("levelReason", reason, "a reason in words", "say why this level was chosen");
        var words = level == proposed
            ? $"{finding!.Text}: level {level} ({finding.Source})" + (string.IsNullOrWhiteSpace(reason) ? "" : $"; {reason}")
            : proposed is null ? reason! : $"{reason} (the band, {finding!.Text}, proposed level {proposed})";
        return new(level, proposed, words, finding?.Evidence ?? []);
    }

    private static BandFile Load()
    {
        var file = DataFile.Read<BandFile>(File);
        for (var i = 0; i < file.Bands.Count; i++)
        {
            var (arm, fugl) = i == 0 ? (0, 0) : (file.Bands[i - 1].ArmTestTo + 1, file.Bands[i - 1].FuglMeyerTo + 1);
            if (file.Bands[i].ArmTestFrom != arm || file.Bands[i].FuglMeyerFrom != fugl)
                throw new CatalogueException(File, $"bands[{i}]", "must begin where the band before ends");
        }
        return file;
    }

    private sealed record BandRow(CapacityBand Band, string Title, int ArmTestFrom, int ArmTestTo, int FuglMeyerFrom, int FuglMeyerTo);

    private sealed record BandFile(Source Source, IReadOnlyList<BandRow> Bands);
}
