using Microsoft.Extensions.Primitives;
using RehabRecords.Clinical;
using RehabRecords.Host;

namespace RehabRecords.Pages.Home;

/// <summary>What the recording page shows: a first name, the exercises, and what any page for home says. Nothing else of the record gets here.</summary>
public sealed record HomeView(string Person, string For, ClinicSetting Clinic, int PainLimit, DateOnly Today)
{
    public IReadOnlyList<HomeExercise> Exercises { get; init; } = [];

    /// <summary>The programme is on hold.</summary>
    public bool OnHold { get; init; }

    /// <summary>The programme is over; what was done while it ran can still be told.</summary>
    public bool Over { get; init; }

    /// <summary>Identifier of the report that this page will send.</summary>
    public required string Entry { get; init; }

    /// <summary>What was filled in, when the page is shown again.</summary>
    public IReadOnlyDictionary<string, StringValues> Filled { get; init; } = new Dictionary<string, StringValues>();

    public IReadOnlyList<string> Faults { get; init; } = [];

    /// <summary>Red flags that were taken in although the rest was not.</summary>
    public IReadOnlyList<RedFlag> Urgent { get; init; } = [];

    public string Of(string field) => Filled.TryGetValue(field, out var value) ? value.ToString() : "";

    /// <summary>Whether a choice is made; <paramref name="unless"/> is the one made before anybody chose.</summary>
    public bool Is(string field, string value, string unless = "") => Filled.TryGetValue(field, out var given) ? given.Contains(value) : value == unless;
}

/// <param name="Handle">Names the prescription on the page; from it nobody can tell the prescription's id.</param>
/// <param name="Counted">What is counted of it: times or minutes.</param>
public sealed record HomeExercise(string Handle, string Title, string Amount, string Counted);

/// <summary>What is said after a report was taken in: what is urgent before everything else.</summary>
public sealed record HomeAnswer(ClinicSetting Clinic, string Again, IReadOnlyList<RedFlag> Urgent);
