using RehabRecords.Library;
using RehabRecords.Programmes;
using RehabRecords.Trade;

namespace RehabRecords.Pages.Desk;

/// <summary>One exercise of a draft, as it stands in the fields of the desk.</summary>
public sealed record ExerciseFields
{
    /// <summary>code|version.</summary>
    public required string Exercise { get; init; }

    public string? Side { get; init; }

    public string? HandOrder { get; init; }

    public string? Position { get; init; }

    public string? HelpLevel { get; init; }

    public string? Sets { get; init; }

    public string? Repetitions { get; init; }

    public string? HoldSeconds { get; init; }

    public string? RestSeconds { get; init; }

    public string? Minutes { get; init; }

    public string? Tempo { get; init; }

    public string? TimesPerDay { get; init; }

    public IReadOnlyList<string> Days { get; init; } = [];

    /// <summary>As HH:mm, with commas between.</summary>
    public string? TimesOfDay { get; init; }

    public string? Instruction { get; init; }

    internal static ExerciseFields Of(PrescriptionAnswer prescribed) => new()
    {
        Exercise = prescribed.Exercise ?? "",
        Side = prescribed.Side,
        HandOrder = prescribed.HandOrder,
        Position = prescribed.Position,
        HelpLevel = prescribed.HelpLevel,
        Sets = DeskFields.Shown(prescribed.Dosage?.Sets),
        Repetitions = DeskFields.Shown(prescribed.Dosage?.Repetitions),
        HoldSeconds = DeskFields.Shown(prescribed.Dosage?.HoldSeconds),
        RestSeconds = DeskFields.Shown(prescribed.Dosage?.RestSeconds),
        Minutes = prescribed.Dosage?.Minutes is { } minutes ? Rules.Number(minutes) : null,
        Tempo = prescribed.Dosage?.Tempo,
        TimesPerDay = DeskFields.Shown(prescribed.Schedule?.TimesPerDay),
        Days = prescribed.Schedule?.DaysOfWeek ?? [],
        TimesOfDay = prescribed.Schedule?.TimesOfDay is { Count: > 0 } times ? string.Join(", ", times) : null,
        Instruction = prescribed.Instruction,
    };

    internal static ExerciseFields Of(IFormCollection form, string path) => new()
    {
        Exercise = form.Text(At(path, "exercise")) ?? "",
        Side = form.Text(At(path, "side")),
        HandOrder = form.Text(At(path, "handOrder")),
        Position = form.Text(At(path, "position")),
        HelpLevel = form.Text(At(path, "helpLevel")),
        Sets = form.Text(At(path, "dosage.sets")),
        Repetitions = form.Text(At(path, "dosage.repetitions")),
        HoldSeconds = form.Text(At(path, "dosage.holdSeconds")),
        RestSeconds = form.Text(At(path, "dosage.restSeconds")),
        Minutes = form.Text(At(path, "dosage.minutes")),
        Tempo = form.Text(At(path, "dosage.tempo")),
        TimesPerDay = form.Text(At(path, "schedule.timesPerDay")),
        Days = [.. form[At(path, "schedule.daysOfWeek")].OfType<string>()],
        TimesOfDay = form.Text(At(path, "schedule.timesOfDay")),
        Instruction = form.Text(At(path, "instruction")),
    };

    internal IEnumerable<(string Field, string? Value)> All(string path) =>
        new (string Member, string? Value)[]
        {
            ("exercise", Exercise), ("side", Side), ("handOrder", HandOrder), ("position", Position), ("helpLevel", HelpLevel), ("dosage.sets", Sets), ("dosage.repetitions", Repetitions),
            ("dosage.holdSeconds", HoldSeconds), ("dosage.restSeconds", RestSeconds), ("dosage.minutes", Minutes), ("dosage.tempo", Tempo), ("schedule.timesPerDay", TimesPerDay),
            ("schedule.daysOfWeek", Days.Count == 0 ? null : string.Join(", ", Days)), ("schedule.timesOfDay", TimesOfDay), ("instruction", Instruction),
        }.Select(m => (At(path, m.Member), m.Value));

    /// <summary>The small forms have the members of one exercise and no list around it.</summary>
    private static string At(string path, string member) => path.Length == 0 ? member : $"{path}.{member}";

    internal PrescriptionRequest ToRequest(string path, Typed typed) => new()
    {
        Exercise = Exercise,
        Side = Side,
        HandOrder = HandOrder,
        Position = Position,
        HelpLevel = HelpLevel,
        Dosage = DosageOf(path, typed),
        Schedule = ScheduleOf(path, typed),
        Instruction = Instruction,
    };

    internal DosageRequest DosageOf(string path, Typed typed) => new()
    {
        Sets = typed.Whole(At(path, "dosage.sets"), Sets),
        Repetitions = typed.Whole(At(path, "dosage.repetitions"), Repetitions),
        HoldSeconds = typed.Whole(At(path, "dosage.holdSeconds"), HoldSeconds),
        RestSeconds = typed.Whole(At(path, "dosage.restSeconds"), RestSeconds),
        Minutes = typed.Number(At(path, "dosage.minutes"), Minutes),
        Tempo = Tempo,
    };

    internal ScheduleRequest ScheduleOf(string path, Typed typed) => new()
    {
        TimesPerDay = typed.Whole(At(path, "schedule.timesPerDay"), TimesPerDay),
        DaysOfWeek = Days,
        TimesOfDay = TimesOfDay?.Split([',', ';', ' ', '\n'], StringSplitOptions.RemoveEmptyEntries | StringSplitOptions.TrimEntries) ?? [],
    };
}
