using System.Globalization;
using RehabRecords.Programmes;
using RehabRecords.Trade;

namespace RehabRecords.Pages.Desk;

/// <summary>A draft programme as it stands in the fields of the desk: as stored, or as typed, so that a refusal loses nothing.</summary>
public sealed record DeskFields
{
    /// <summary>Members of the request with their codes, in the order of the page.</summary>
    internal static readonly (string Member, string Code)[] ReportingItems =
    [
        ("training", "training"), ("grouping", "grouping"), ("supervision", "supervision"), ("setting", "setting"), ("motivation", "motivation"),
        ("adherenceMeasure", "adherence-measure"), ("fidelityMeasure", "fidelity-measure"), ("progressionRule", "progression-rule"),
        ("harmReporting", "harm-reporting"), ("otherParts", "other-parts"), ("tailoringReason", "tailoring-reason"),
    ];

    public string? Title { get; init; }

    public string? Start { get; init; }

    public string? End { get; init; }

    public string? TimeZone { get; init; }

    public string? PainLimit { get; init; }

    public string? LevelReason { get; init; }

    public IReadOnlyList<ExerciseFields> Exercises { get; init; } = [];

    public IReadOnlyList<GoalFields> Goals { get; init; } = [];

    public string? Tailored { get; init; }

    public IReadOnlyDictionary<string, string?> Reporting { get; init; } = new Dictionary<string, string?>();

    public ClinicianFields Author { get; init; } = new();

    internal static DeskFields Of(ProgrammeAnswer programme, ClinicianFields author)
    {
        var told = (programme.Reporting ?? new ReportingRequest()).Items.ToDictionary(i => i.Code, i => i.Text, StringComparer.Ordinal);
        return new DeskFields
        {
            Title = programme.Title,
            Start = programme.Start,
            End = programme.End,
            TimeZone = programme.TimeZone,
            PainLimit = Shown(programme.PainLimit),
            LevelReason = programme.LevelReason,
            Exercises = [.. programme.Exercises.Select(ExerciseFields.Of)],
            Goals = [.. programme.Goals.Select(GoalFields.Of)],
            Tailored = told.GetValueOrDefault("tailored"),
            Reporting = ReportingItems.ToDictionary(i => i.Member, i => told.GetValueOrDefault(i.Code), StringComparer.Ordinal),
            // A draft that names nobody yet is offered whoever is working on it.
            Author = programme.Author is null ? author : new(),
        };
    }

    internal static DeskFields Of(HttpContext http, IFormCollection form)
    {
        var added = form.Text("add.exercise") is { } chosen ? new ExerciseFields { Exercise = chosen, Side = form.Text("add.side") } : null;
        return new DeskFields
        {
            Title = form.Text("title"),
            Start = form.Text("start"),
            End = form.Text("end"),
            TimeZone = form.Text("timeZone"),
            PainLimit = form.Text("painLimit"),
            LevelReason = form.Text("levelReason"),
            Exercises = [.. Rows(form, "exercises", "exercise").Select(i => ExerciseFields.Of(form, $"exercises[{i}]")).Concat(added is null ? [] : [added])],
            Goals = [.. Rows(form, "goals", "description").Select(i => GoalFields.Of(form, $"goals[{i}]")).Where(g => !g.IsEmpty)],
            Tailored = form.Text("reporting.tailored"),
            Reporting = ReportingItems.ToDictionary(i => i.Member, i => form.Text($"reporting.{i.Member}"), StringComparer.Ordinal),
            Author = ClinicianFields.By(http, form, "author"),
        };
    }

    internal ProgrammeRequest ToRequest(ProgrammeAnswer programme, Typed typed)
    {
        if (Exercises.Count == 0)
            typed.Refuse("exercises", "Nothing would be prescribed any more; leave at least one exercise, or choose another in its place.");
        return new ProgrammeRequest
        {
            Person = programme.Person,
            Status = ProgrammeRequest.Draft,
            Template = programme.Template,
            Level = programme.Level,
            LevelReason = LevelReason,
            Title = Title,
            Start = typed.Day("start", Start),
            End = typed.Day("end", End),
            TimeZone = TimeZone,
            PainLimit = typed.Whole("painLimit", PainLimit),
            Exercises = [.. Exercises.Select((e, i) => e.ToRequest($"exercises[{i}]", typed))],
            Goals = [.. Goals.Select((g, i) => g.ToRequest($"goals[{i}]", typed))],
            Reporting = new ReportingRequest
            {
                Training = Reporting["training"],
                Grouping = Reporting["grouping"],
                Supervision = Reporting["supervision"],
                Setting = Reporting["setting"],
                Motivation = Reporting["motivation"],
                AdherenceMeasure = Reporting["adherenceMeasure"],
                FidelityMeasure = Reporting["fidelityMeasure"],
                ProgressionRule = Reporting["progressionRule"],
                HarmReporting = Reporting["harmReporting"],
                OtherParts = Reporting["otherParts"],
                Tailored = Tailored,
                TailoringReason = Reporting["tailoringReason"],
            },
            Author = Author.ToClinician(),
        };
    }

    /// <summary>Every field with its value, so that what two people made of a draft can be compared.</summary>
    internal IEnumerable<(string Field, string? Value)> All() =>
    [
        ("title", Title), ("start", Start), ("end", End), ("timeZone", TimeZone), ("painLimit", PainLimit), ("levelReason", LevelReason), ("reporting.tailored", Tailored),
        .. Reporting.Select(r => ($"reporting.{r.Key}", r.Value)),
        .. Exercises.Index().SelectMany(e => e.Item.All($"exercises[{e.Index}]")),
        .. Goals.Index().SelectMany(g => g.Item.All($"goals[{g.Index}]")),
    ];

    /// <summary>Rows that are taken out are gone at once; a row that was added stands at the end.</summary>
    private static IEnumerable<int> Rows(IFormCollection form, string list, string member) =>
        Enumerable.Range(0, 100).TakeWhile(i => form.ContainsKey($"{list}[{i}].{member}")).Where(i => !form.ContainsKey($"{list}[{i}].out"));

    internal static string? Shown(int? number) => number?.ToString(CultureInfo.InvariantCulture);
}

/// <summary>Who does something, as typed.</summary>
public sealed record ClinicianFields(string? Name = null, string? Role = null, string? Registration = null)
{
    /// <summary>As typed, such as a witness, who need not be whoever is signed in.</summary>
    internal static ClinicianFields Of(IFormCollection form, string path) => new(form.Text($"{path}.name"), form.Text($"{path}.role"), form.Text($"{path}.registration"));

    /// <summary>Who does what a form asks for: whoever signed in, whatever the form says; as typed where nobody signs in.</summary>
    internal static ClinicianFields By(HttpContext http, IFormCollection form, string path) => SignedIn(http) ?? Of(form, path);

    /// <summary>Null where nobody signs in; without a name where it is no person who calls.</summary>
    internal static ClinicianFields? SignedIn(HttpContext http)
    {
        var cookie = http.RequestServices.GetRequiredService<You.WhoCookie>();
        return cookie.IsSignedIn ? Of(cookie.Read(http)) : null;
    }

    /// <summary>Who is working, as far as this browser knows.</summary>
    internal static ClinicianFields Working(HttpContext http) => Of(http.RequestServices.GetRequiredService<You.WhoCookie>().Read(http));

    internal string Words => string.Join(", ", new[] { Name, Role, Registration is null ? null : $"registration {Registration}" }.OfType<string>());

    private static ClinicianFields Of(You.Who? who) => who is null ? new() : new(who.Name, who.Role, who.Registration);

    internal Clinician? ToClinician() => this is { Name: null, Role: null, Registration: null } ? null : new Clinician { Name = Name, Role = Role, Registration = Registration };
}

public sealed record GoalFields
{
    public string? Description { get; init; }

    public string? Due { get; init; }

    public string? Importance { get; init; }

    public string? Difficulty { get; init; }

    public IReadOnlyDictionary<string, string?> Levels { get; init; } = new Dictionary<string, string?>();

    internal bool IsEmpty => this is { Description: null, Due: null, Importance: null, Difficulty: null } && Levels.Values.All(l => l is null);

    internal IEnumerable<(string Field, string? Value)> All(string path) =>
        [($"{path}.description", Description), ($"{path}.due", Due), ($"{path}.importance", Importance), ($"{path}.difficulty", Difficulty), .. Levels.Select(l => ($"{path}.levels.{l.Key}", l.Value))];

    internal static GoalFields Of(GoalAnswer goal) => new()
    {
        Description = goal.Description,
        Due = goal.Due,
        Importance = DeskFields.Shown(goal.Importance),
        Difficulty = DeskFields.Shown(goal.Difficulty),
        Levels = goal.Levels.ToDictionary(l => l.Key, l => (string?)l.Value, StringComparer.Ordinal),
    };

    internal static GoalFields Of(IFormCollection form, string path) => new()
    {
        Description = form.Text($"{path}.description"),
        Due = form.Text($"{path}.due"),
        Importance = form.Text($"{path}.importance"),
        Difficulty = form.Text($"{path}.difficulty"),
        Levels = GoalRules.LevelNames.ToDictionary(name => name, name => form.Text($"{path}.levels.{name}"), StringComparer.Ordinal),
    };

    internal GoalRequest ToRequest(string path, Typed typed) => new()
    {
        Description = Description,
        Due = typed.Day($"{path}.due", Due),
        Importance = typed.Whole($"{path}.importance", Importance),
        Difficulty = typed.Whole($"{path}.difficulty", Difficulty),
        Levels = GoalRules.LevelNames.ToDictionary(name => name, name => Levels.GetValueOrDefault(name) ?? "", StringComparer.Ordinal),
    };
}
