using System.Collections.Frozen;

namespace RehabRecords.Clinical;

/// <summary>Looks for red flags in what was reported. It prompts; it never diagnoses, and it never reassures.</summary>
public static class SafetyScreen
{
    private const string File = "Safety/red-flags.json";

    private static readonly Lazy<IReadOnlyList<RedFlag>> Shipped = new(Load);
    private static readonly Lazy<FrozenDictionary<string, RedFlag>> ByCode = new(() => Shipped.Value.ToFrozenDictionary(flag => flag.Code));

    /// <summary>All red flags of the catalogue, most urgent first.</summary>
    public static IReadOnlyList<RedFlag> Catalogue => Shipped.Value;

    /// <summary>A red flag by code, or null.</summary>
    public static RedFlag? Find(string code) => ByCode.Value.GetValueOrDefault(code);

    /// <summary>A red flag by code.</summary>
    /// <exception cref="UnfitInputException">The catalogue has no such code.</exception>
    public static RedFlag Get(string code) =>
        Find(code) ?? throw new UnfitInputException("redFlags", code, $"one of {string.Join(", ", Catalogue.Select(flag => flag.Code))}", "use a code of the catalogue");

    /// <summary>
    /// Red flags of one session, most urgent first, each code once with all its reasons: those the reporter ticked, those
    /// that reported harm raises, and pain above the limit. A flag ticked for a missed session counts as well.
    /// </summary>
    /// <param name="session">The session.</param>
    /// <param name="painLimit">Pain limit of the programme, 0 to 10; pain above it, before, during or after, raises a flag.</param>
    /// <exception cref="UnfitInputException">A ticked code that the catalogue does not have; a limit outside 0 to 10.</exception>
    public static IReadOnlyList<RaisedFlag> Of(SessionReport session, int painLimit)
    {
        ArgumentNullException.ThrowIfNull(session);
        if (painLimit is < 0 or > 10)
            throw new UnfitInputException("painLimit", $"{painLimit}", "0 to 10", "set the limit agreed with the person");
        var raised = new List<(RedFlag Flag, string Reason, string Evidence)>();
        foreach (var code in session.RedFlags)
            raised.Add((Get(code), "ticked by the reporter", session.Evidence));
        foreach (var harm in session.Harms)
            foreach (var flag in Catalogue.Where(flag => flag.Harms.Any(h => h.Kind == harm.Kind && h.Severities.Contains(harm.Severity))))
                raised.Add((flag, $"reported harm: {harm.Kind.Replace('-', ' ')}, {harm.Severity}", harm.Evidence));
        foreach (var result in session.Exercises)
            if (PainAbove(result, painLimit) is { } pain)
                raised.Add((Get("pain-above-limit"), pain, result.Evidence));
        var since = session.DoneAt ?? session.RecordedAt ?? new DateTimeOffset(session.Day.ToDateTime(TimeOnly.MinValue), TimeSpan.Zero);
        return [.. raised.GroupBy(r => r.Flag.Code)
            .Select(group => new RaisedFlag(group.First().Flag, since, string.Join("; ", group.Select(r => r.Reason).Distinct()), [.. group.Select(r => r.Evidence).Distinct()]))
            .OrderBy(flag => flag.Flag.Urgency).ThenBy(flag => Place(flag.Flag))];
    }

    private static string? PainAbove(ExerciseReport result, int limit)
    {
        var above = new (string When, int? Pain)[] { ("before", result.PainBefore), ("during", result.PainDuring), ("after", result.PainAfter) }
            .Where(pain => pain.Pain > limit).Select(pain => $"{pain.When} {pain.Pain}").ToList();
        return above.Count == 0 ? null : $"pain {string.Join(", ", above)}, above the limit of {limit}";
    }

    private static int Place(RedFlag flag)
    {
        for (var i = 0; i < Catalogue.Count; i++)
            if (Catalogue[i].Code == flag.Code)
                return i;
        return Catalogue.Count;
    }

    private static IReadOnlyList<RedFlag> Load()
    {
        var flags = DataFile.Read<FlagFile>(File).Flags;
        for (var i = 0; i < flags.Count; i++)
        {
            if (flags.Take(i).Any(other => other.Code == flags[i].Code))
                throw new CatalogueException(File, $"flags[{i}].code", $"{flags[i].Code} is there twice");
            if (string.IsNullOrWhiteSpace(flags[i].Text) || string.IsNullOrWhiteSpace(flags[i].Title))
                throw new CatalogueException(File, $"flags[{i}].text", "title and text must not be empty");
        }
        if (flags.All(flag => flag.Code != "pain-above-limit"))
            throw new CatalogueException(File, "flags", "pain-above-limit is missing; the screen raises it itself");
        return [.. flags.OrderBy(flag => flag.Urgency)];
    }

    private sealed record FlagFile(string Version, IReadOnlyList<RedFlag> Flags);
}
