namespace RehabRecords.Clinical;

/// <summary>A reporting standard.</summary>
public enum ReportingStandard
{
    /// <summary>CERT, the exercise reporting template: 16 items in 19 lines.</summary>
    Cert,

    /// <summary>TIDieR, the intervention description template: 12 items.</summary>
    Tidier,
}

/// <summary>One line of a standard, in own words.</summary>
/// <param name="Standard">Standard.</param>
/// <param name="Item">Number, such as "7a".</param>
/// <param name="Text">What it asks for.</param>
/// <param name="Fields">Fields of the programme that fill it; all are needed.</param>
public sealed record ReportingItem(ReportingStandard Standard, string Item, string Text, IReadOnlyList<string> Fields);

/// <summary>A line that is not filled.</summary>
/// <param name="Item">The line.</param>
/// <param name="Missing">Fields that would fill it.</param>
public sealed record ReportingGap(ReportingItem Item, IReadOnlyList<string> Missing);

/// <summary>How far a programme is described.</summary>
/// <param name="Standard">Standard.</param>
/// <param name="Filled">Lines filled.</param>
/// <param name="Lines">Lines in all.</param>
/// <param name="Gaps">What is missing, in order of the standard.</param>
/// <param name="Source">Source of the standard.</param>
public sealed record ReportingScore(ReportingStandard Standard, int Filled, int Lines, IReadOnlyList<ReportingGap> Gaps, Source Source)
{
    /// <summary>In plain words.</summary>
    public string Text => $"{Filled} of {Lines} lines of {(Standard == ReportingStandard.Cert ? "CERT" : "TIDieR")} are filled."
        + (Gaps.Count == 0 ? "" : $" Missing: {string.Join("; ", Gaps.Select(gap => $"{gap.Item.Item} {gap.Item.Text} ({string.Join(", ", gap.Missing)})"))}.");
}

/// <summary>Scores a programme against the reporting standards, line by line, and says which field fills each gap.</summary>
public static class ReportingCheck
{
    private const string File = "Rules/reporting.json";

    private static readonly Lazy<ItemFile> Shipped = new(() =>
    {
        var file = DataFile.Read<ItemFile>(File);
        for (var i = 0; i < file.Items.Count; i++)
            if (file.Items[i].Fields.Count == 0)
                throw new CatalogueException(File, $"items[{i}].fields", "must name a field");
        return file;
    });

    /// <summary>All lines of both standards.</summary>
    public static IReadOnlyList<ReportingItem> Items => Shipped.Value.Items;

    /// <summary>Fields that the standards ask for, in order.</summary>
    public static IReadOnlyList<string> Fields { get; } = [.. Shipped.Value.Items.SelectMany(item => item.Fields).Distinct()];

    /// <summary>Scores a programme.</summary>
    /// <param name="standard">Standard.</param>
    /// <param name="filled">Fields that are filled; for those of an exercise, filled for every exercise.</param>
    /// <exception cref="UnfitInputException">A field the standards do not know, which would be a gap no one sees.</exception>
    public static ReportingScore Score(ReportingStandard standard, IReadOnlyCollection<string> filled)
    {
        ArgumentNullException.ThrowIfNull(filled);
        if (filled.FirstOrDefault(field => !Fields.Contains(field)) is { } unknown)
            throw new UnfitInputException("filled", unknown, $"one of {string.Join(", ", Fields)}", "use the name of a field");
        var lines = Items.Where(item => item.Standard == standard).ToList();
        var gaps = lines.Select(item => new ReportingGap(item, [.. item.Fields.Where(field => !filled.Contains(field))])).Where(gap => gap.Missing.Count > 0).ToList();
        return new(standard, lines.Count - gaps.Count, lines.Count, gaps, standard == ReportingStandard.Cert ? Shipped.Value.Sources.Cert : Shipped.Value.Sources.Tidier);
    }

    /// <summary>What a clinic's minimum still asks for before a programme may become active.</summary>
    /// <param name="score">Score of the programme.</param>
    /// <param name="leastLines">Fewest filled lines the clinic asks for.</param>
    /// <param name="needed">Lines that must be filled, by number.</param>
    /// <returns>Gaps to close; empty when the minimum is met. With too few lines filled, every gap is listed.</returns>
    public static IReadOnlyList<ReportingGap> Below(ReportingScore score, int leastLines, IReadOnlyCollection<string> needed)
    {
        ArgumentNullException.ThrowIfNull(score);
        ArgumentNullException.ThrowIfNull(needed);
        return score.Filled < leastLines ? score.Gaps : [.. score.Gaps.Where(gap => needed.Contains(gap.Item.Item))];
    }

    private sealed record StandardSources(Source Cert, Source Tidier);

    private sealed record ItemFile(StandardSources Sources, IReadOnlyList<ReportingItem> Items);
}
