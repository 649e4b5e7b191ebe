using RehabRecords.Briefings;
using RehabRecords.Programmes;

namespace RehabRecords.Pages.Desk;

/// <summary>A programme on the desk: a draft with its fields, or one in force with the ways to change it.</summary>
public sealed record DeskView(ProgrammeAnswer Programme, int Version, string PersonId, string PersonName)
{
    public DeskFields Fields { get; init; } = new();

    public Faults Faults { get; init; } = Faults.None;

    /// <summary>What was just done, to be said once.</summary>
    public string? Done { get; init; }

    /// <summary>By code|version and side.</summary>
    public IReadOnlyDictionary<string, ExerciseNote> Notes { get; init; } = new Dictionary<string, ExerciseNote>();

    public IReadOnlyList<LibraryChoice> Library { get; init; } = [];

    public string? AffectedSide { get; init; }

    public IReadOnlyList<string> Precautions { get; init; } = [];

    public required ReportingAnswer Reporting { get; init; }

    public required BriefingAnswer Briefing { get; init; }

    public string? Carer { get; init; }

    /// <summary>School years of the home sheet; null when there is too little text.</summary>
    public double? ReadingGrade { get; init; }

    /// <summary>Prefills who hands over, decides or briefs.</summary>
    public ClinicianFields Who { get; init; } = new();

    /// <summary>What was typed into the small form that was refused.</summary>
    public IReadOnlyDictionary<string, string> Typed { get; init; } = new Dictionary<string, string>();

    public string? TypedIn(string form, string field) => form == Faults.Form ? Typed.GetValueOrDefault(field) : null;

    public bool IsDraft => Programme.Status == ProgrammeRequest.Draft;

    public string Address => $"/programmes/{Programme.Id}/desk";

    public string TitleOf(string exercise) => Library.FirstOrDefault(l => l.Exercise == exercise)?.Title ?? exercise;

    public ExerciseNote? NoteOf(ExerciseFields exercise) => Notes.GetValueOrDefault(ExerciseNote.Key(exercise.Exercise, exercise.Side));

    /// <summary>Titles of exercises of which something is to be filled in here.</summary>
    public IReadOnlyCollection<string> Lacking =>
        [.. Reporting.Standards.SelectMany(s => s.Items).SelectMany(i => i.Fields).Where(f => f.FilledBy.StartsWith("exercises[].", StringComparison.Ordinal)).SelectMany(f => f.Exercises).Distinct()];

    /// <summary>The list on the home sheet does not say what the record says now.</summary>
    public bool CautionsMoved => Notes.Values.Any(n => n.Cautions.Any(c => c.Untold) || n.NoLonger.Count > 0);
}

/// <summary>What is known of a prescribed exercise beside what is typed.</summary>
/// <param name="Amount">As the person reads it.</param>
/// <param name="NoLonger">Cautions on the sheet for which there is no reason any more.</param>
public sealed record ExerciseNote(string Title, string Amount, string Often, IReadOnlyList<CautionLine> Cautions, IReadOnlyList<string> NoLonger)
{
    public static string Key(string? exercise, string? side) => $"{exercise} {side}";
}

/// <param name="Reason">Why it applies to this person; null for one that whoever wrote the exercise gave it.</param>
/// <param name="Untold">The stored prescription does not say it yet.</param>
public sealed record CautionLine(string Words, bool Stop, string Text, string? Reason, string? Source, bool Untold);

public sealed record LibraryChoice(string Exercise, string Title);

/// <summary>What the page of a new programme shows.</summary>
public sealed record NewProgrammeView(string PersonId, string PersonName, string? AffectedSide, string ClinicZone)
{
    public IReadOnlyList<TemplateChoice> Templates { get; init; } = [];

    public IReadOnlyList<LibraryChoice> Library { get; init; } = [];

    public NewFields Fields { get; init; } = new();

    public Faults Faults { get; init; } = Faults.None;
}

/// <param name="Proposal">What the record proposes, or why it proposes nothing, with the source.</param>
public sealed record TemplateChoice(string Template, string Title, string? Description, IReadOnlyList<LevelChoice> Levels, string Proposal);

public sealed record LevelChoice(int Level, string Title, string? StartsWhen, IReadOnlyList<string> Bands, IReadOnlyList<string> Exercises, bool Proposed);

/// <summary>What is typed on the page of a new programme.</summary>
public sealed record NewFields
{
    public const string FromLibrary = "library";

    /// <summary>"code|version level", or the library.</summary>
    public string? From { get; init; }

    public string? LevelReason { get; init; }

    public string? Side { get; init; }

    public IReadOnlyList<string> Exercises { get; init; } = [];

    public string? Title { get; init; }

    public string? Start { get; init; }

    public string? End { get; init; }

    public string? TimeZone { get; init; }

    public string? PainLimit { get; init; }

    public bool BriefingRequired { get; init; }

    public ClinicianFields Author { get; init; } = new();

    /// <summary>The same form sent twice makes one draft.</summary>
    public string Once { get; init; } = "";

    internal static NewFields Of(HttpContext http, IFormCollection form) => new()
    {
        From = form.Text("template"),
        LevelReason = form.Text("levelReason"),
        Side = form.Text("side"),
        Exercises = [.. form["exercises"].OfType<string>()],
        Title = form.Text("title"),
        Start = form.Text("start"),
        End = form.Text("end"),
        TimeZone = form.Text("timeZone"),
        PainLimit = form.Text("painLimit"),
        BriefingRequired = form.ContainsKey("briefingRequired"),
        Author = ClinicianFields.By(http, form, "author"),
        Once = form.Text("once") is { Length: <= 40 } once && once.All(char.IsAsciiLetterOrDigit) ? once : "",
    };

    /// <param name="exercisesOf">Exercises of a template's level, for the side to be said with each.</param>
    internal ProgrammeRequest ToRequest(string person, Func<string, int, IReadOnlyList<string>> exercisesOf, Typed typed)
    {
        var (template, level) = From?.LastIndexOf(' ') is > 0 and var at && int.TryParse(From.AsSpan(at + 1), out var number) ? (From[..at], (int?)number) : ((string?)null, null);
        if (From is null)
            typed.Refuse("template", "Nothing is chosen to start from; choose a level of a template, or the library.");
        else if (template is null && Exercises.Count == 0)
            typed.Refuse("exercises", "No exercise is chosen from the library; choose at least one.");
        var chosen = template is null ? Exercises : Side is null ? [] : exercisesOf(template, level!.Value);
        return new ProgrammeRequest
        {
            Person = person,
            Status = ProgrammeRequest.Draft,
            Template = template,
            Level = level,
            LevelReason = LevelReason,
            Title = Title,
            Start = typed.Day("start", Start),
            End = typed.Day("end", End),
            TimeZone = TimeZone,
            PainLimit = typed.Whole("painLimit", PainLimit),
            Exercises = [.. chosen.Select(e => new PrescriptionRequest { Exercise = e, Side = Side })],
            BriefingRequired = BriefingRequired,
            Author = Author.ToClinician(),
        };
    }
}
