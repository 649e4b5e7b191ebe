using System.Text.Json;

namespace RehabRecords.Retention;

/// <summary>For how long a record is kept in a jurisdiction. A shortest time: after it somebody looks, and nothing is deleted by itself.</summary>
/// <param name="Id">As a setting names it.</param>
/// <param name="Years">Years after the last contact; null where the jurisdiction leaves it open and the operator must say.</param>
/// <param name="ChildUntil">Birthday until which the record of somebody is kept who was under 18 at the last contact; null where no such rule is known.</param>
/// <param name="ChildUntilIfSeventeen">The birthday of those who were 17 then; null where it is the same.</param>
/// <param name="Read">How well the source is known: read, summary (of somebody who read it) or from memory.</param>
public sealed record RetentionRule(
    string Id, string Name, int? Years, int? ChildUntil, int? ChildUntilIfSeventeen, string Source, string Read, string Remark)
{
    private const int OfAge = 18;

    private static readonly JsonSerializerOptions Json = new(JsonSerializerDefaults.Web) { RespectNullableAnnotations = true };

    /// <summary>The table that ships, src/RehabRecords/Retention/retention.json.</summary>
    public static IReadOnlyList<RetentionRule> Table { get; } = Load();

    /// <summary>The rule in one sentence.</summary>
    public string Words => $"{Years} years after the last contact{(ChildUntil is null ? "" : $", and of children until the {Ordinal(ChildUntil)} birthday{(ChildUntilIfSeventeen is null ? "" : $" (the {Ordinal(ChildUntilIfSeventeen)} of those who were 17)")}")}";

    /// <summary>The first day on which the record may be looked at for erasure, and why.</summary>
    /// <param name="lastContact">Day of the last contact.</param>
    /// <param name="birth">Null when it is not known: then nobody can be taken for a child.</param>
    /// <param name="death">Counts as the last contact where it is later.</param>
    public RetentionDue Of(DateOnly lastContact, DateOnly? birth, DateOnly? death)
    {
        var years = Years ?? throw new InvalidOperationException("The rule has no number of years.");
        var from = death > lastContact ? death.Value : lastContact;
        var (due, why) = (from.AddYears(years), $"{years} years after {(from == lastContact ? "the last contact" : "the death")} on {from:d MMMM yyyy}");
        if (birth is not { } born || ChildUntil is not { } until || lastContact >= born.AddYears(OfAge))
            return new RetentionDue(due, why);
        if (lastContact >= born.AddYears(OfAge - 1))
            until = ChildUntilIfSeventeen ?? until;
        // The longer of the two: a birthday does not shorten what is kept of an adolescent.
        return born.AddYears(until) > due ? new RetentionDue(born.AddYears(until), $"the {Ordinal(until)} birthday, since the person was under {OfAge} at the last contact on {lastContact:d MMMM yyyy}") : new RetentionDue(due, why);
    }

    private static string Ordinal(int? number) => number + ((number % 100) is >= 11 and <= 13 ? "th" : (number % 10) switch
    {
        1 => "st",
        2 => "nd",
        3 => "rd",
        _ => "th",
    });

    private static List<RetentionRule> Load()
    {
        using var file = typeof(RetentionRule).Assembly.GetManifestResourceStream("retention.json") ?? throw new InvalidOperationException("retention.json is not built into the program.");
        return JsonSerializer.Deserialize<List<RetentionRule>>(file, Json)!;
    }
}

/// <param name="On">The first day on which nothing stands against erasing the record, as far as time goes.</param>
/// <param name="Why">From what the day follows.</param>
public sealed record RetentionDue(DateOnly On, string Why);

/// <summary>For how long records are kept; the section RehabRecords:Retention. Without a jurisdiction nothing is ever due.</summary>
public sealed class RetentionSetting
{
    /// <summary>Id of a row of the table.</summary>
    public string? Jurisdiction { get; set; }

    /// <summary>Years after the last contact in place of the row's, 1 to 100.</summary>
    public int? Years { get; set; }

    /// <summary>Birthday until which the record of a child is kept in place of the row's, 18 to 100.</summary>
    public int? ChildUntil { get; set; }

    /// <summary>The birthday of those who were 17, in place of the row's, 18 to 100.</summary>
    public int? ChildUntilIfSeventeen { get; set; }

    /// <summary>What the figures set here rest on; it must be said with them.</summary>
    public string? Source { get; set; }

    /// <summary>The rule in force; null when none was chosen.</summary>
    /// <exception cref="InvalidOperationException">What is set is no rule.</exception>
    public RetentionRule? Rule()
    {
        if (string.IsNullOrWhiteSpace(Jurisdiction))
            return Years is null && ChildUntil is null && ChildUntilIfSeventeen is null && Source is null ? null : throw Wrong("Jurisdiction is not set, and other settings of Retention are; name one of", Ids);
        var row = RetentionRule.Table.FirstOrDefault(r => r.Id == Jurisdiction) ?? throw Wrong($"Jurisdiction is '{Jurisdiction}'; name one of", Ids);
        if (Years is < 1 or > 100)
            throw Wrong($"Years is {Years}; give", "1 to 100");
        if (ChildUntil is < 18 or > 100 || ChildUntilIfSeventeen is < 18 or > 100)
            throw Wrong($"ChildUntil and ChildUntilIfSeventeen are {ChildUntil} and {ChildUntilIfSeventeen}; give birthdays from", "18 to 100");
        var differs = Years is not null || ChildUntil is not null || ChildUntilIfSeventeen is not null;
        if (differs && string.IsNullOrWhiteSpace(Source))
            throw Wrong("Source is not set; say what the figures set rest on, such as", "the state's law or your own policy");
        if ((Years ?? row.Years) is null)
            throw Wrong($"Years is not set, and {row.Name} has no period of its own; give", "years after the last contact, and the Source");
        return !differs ? row : row with
        {
            Years = Years ?? row.Years,
            ChildUntil = ChildUntil ?? row.ChildUntil,
            ChildUntilIfSeventeen = ChildUntilIfSeventeen ?? (ChildUntil is null ? row.ChildUntilIfSeventeen : null),
            Source = Source!,
            Read = "set by the operator",
        };
    }

    private static string Ids => string.Join(", ", RetentionRule.Table.Select(r => r.Id));

    private static InvalidOperationException Wrong(string what, string remedy) => new($"Setting {Host.Settings.Section}:Retention:{what} {remedy}.");
}
