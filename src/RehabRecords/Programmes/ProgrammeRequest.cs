using System.ComponentModel;
using System.ComponentModel.DataAnnotations;
using RehabRecords.Library;
using RehabRecords.Trade;

namespace RehabRecords.Programmes;

/// <summary>A home programme for one person: from a template and a level, tailored, or put together exercise by exercise.</summary>
public sealed record ProgrammeRequest
{
    public const string Active = "active", Draft = "draft";

    [Required, Description("The person's id.")]
    public string? Person { get; init; }

    [Description("active, or draft for one that is not handed over yet: no sessions are taken for it until POST /api/programmes/{id}/activation. active when left out.")]
    public string? Status { get; init; }

    [Description("Template it follows, as code|version.")]
    public string? Template { get; init; }

    [Range(1, TemplateLevel.Highest), Description("Level of the template, 1 to 20; needed with a template.")]
    public int? Level { get; init; }

    [Description("Why this level: the measure and its value, or the therapist's judgement. May be left out only where the level is the one that GET /api/people/{id}/starting-level proposes.")]
    public string? LevelReason { get; init; }

    [Description("Title; the template's and level's when left out.")]
    public string? Title { get; init; }

    [Required, Description("First day.")]
    public DateOnly? Start { get; init; }

    [Description("Last day, included; left open when not given. At most two years after the first.")]
    public DateOnly? End { get; init; }

    [Description("IANA time zone the person lives in, such as Europe/London; the clinic's when left out. Days and times of the programme are of this zone.")]
    public string? TimeZone { get; init; }

    [Required, Range(0, 10), Description("Pain limit, 0 to 10 on the numeric rating scale: pain above it raises a flag.")]
    public int? PainLimit { get; init; }

    [Description("Exercises, tailored. Left out: all exercises of the template's level, once a day, on the person's affected side.")]
    public IReadOnlyList<PrescriptionRequest>? Exercises { get; init; }

    [Description("Goals with five levels of attainment.")]
    public IReadOnlyList<GoalRequest>? Goals { get; init; }

    [Description("What the reporting standards CERT and TIDieR ask for besides; see GET /api/programmes/{id}/reporting.")]
    public ReportingRequest? Reporting { get; init; }

    [Description("true: the carer is to be briefed first; the programme is on hold until the briefing is acknowledged (POST /api/programmes/{id}/briefing).")]
    public bool BriefingRequired { get; init; }

    [Description("Who prescribes.")]
    public Clinician? Author { get; init; }
}

public sealed record PrescriptionRequest
{
    [Required, Description("code|version of an exercise in the library.")]
    public string? Exercise { get; init; }

    [Required, Description("left, right or both.")]
    public string? Side { get; init; }

    [Description("affected-first, less-affected-first, both-together or affected-only; the exercise's when left out.")]
    public string? HandOrder { get; init; }

    [Description("What differs from the dosage of the template's level or of the exercise.")]
    public DosageRequest? Dosage { get; init; }

    [Description("sitting-at-table, sitting-arm-supported, sitting, standing or lying; the exercise's when left out.")]
    public string? Position { get; init; }

    [Description("independent, set-up, verbal-prompt or hands-on; the exercise's when left out.")]
    public string? HelpLevel { get; init; }

    [Description("When it is due; once a day when left out.")]
    public ScheduleRequest? Schedule { get; init; }

    [Description("Further words for this person.")]
    public string? Instruction { get; init; }
}

public sealed record ScheduleRequest
{
    public const int MostPerDay = 24;

    [Range(1, MostPerDay), Description("Times on each day it is due, 1 to 24.")]
    public int? TimesPerDay { get; init; }

    [Description("mon, tue, wed, thu, fri, sat, sun; every day when left out.")]
    public IReadOnlyList<string>? DaysOfWeek { get; init; }

    [Description("Times of day as HH:mm in the programme's zone, as many as timesPerDay.")]
    public IReadOnlyList<string>? TimesOfDay { get; init; }
}

public sealed record GoalRequest
{
    [Required, Description("The goal in the person's words.")]
    public string? Description { get; init; }

    [Required, Description("What each level means: the five members \"-2\", \"-1\", \"0\", \"+1\" and \"+2\"; 0 is what is expected.")]
    public IReadOnlyDictionary<string, string>? Levels { get; init; }

    [Range(0, 3), Description("Importance to the person, 0 to 3.")]
    public int? Importance { get; init; }

    [Range(0, 3), Description("Difficulty as the team sees it, 0 to 3.")]
    public int? Difficulty { get; init; }

    [Required, Description("Day by which it should be attained.")]
    public DateOnly? Due { get; init; }
}
