using System.Globalization;
using FluentValidation;
using RehabRecords.Library;
using RehabRecords.Terms;
using RehabRecords.Trade;

namespace RehabRecords.Programmes;

internal sealed class ProgrammeRules : AbstractValidator<ProgrammeRequest>
{
    private const int MostYears = 2;

    /// <summary>Longer lists are not done at home; the limit only keeps out mistakes.</summary>
    private const int MostExercises = 30;

    public ProgrammeRules()
    {
        RuleFor(p => p.Person).Needed("the person's id");
        RuleFor(p => p.Person).IdOf("Patient");
        RuleFor(p => p.Status).OneOf([ProgrammeRequest.Active, ProgrammeRequest.Draft], "a status a programme begins with");
        RuleFor(p => p.Template).LibraryAddress();
        RuleFor(p => p.Level).WithinRange(1, TemplateLevel.Highest, "a level of the template");
        RuleFor(p => p.Level).Custom((level, context) =>
        {
            if (level is null && context.InstanceToValidate.Template is not null)
                context.Fault("level is missing; give the level of the template, as a number.");
        });
        RuleFor(p => p.LevelReason).Custom((reason, context) =>
        {
            // With a template it depends on what the record proposes.
            if (reason is null && context.InstanceToValidate.Template is null)
                context.Fault("levelReason is missing; give why the programme is as it is: the measure and its value, or the therapist's judgement.");
        });
        RuleFor(p => p.LevelReason).Text(Rules.LongText);
        RuleFor(p => p.Title).Text(Rules.ShortText);
        RuleFor(p => p.Start).Needed("the first day, such as 2026-06-01");
        RuleFor(p => p.Start).Custom((start, context) =>
        {
            if (start is { Year: < 1990 or > 2200 })
                context.Fault($"start is {start:yyyy-MM-dd}; give a day from 1990-01-01 to 2200-12-31.");
        });
        RuleFor(p => p.End).Custom((end, context) =>
        {
            if (context.InstanceToValidate.Start is { } start && end is { } last && (last < start || last > start.AddYears(MostYears)))
                context.Fault($"end is {last:yyyy-MM-dd}; give a day from {start:yyyy-MM-dd} (start) to {start.AddYears(MostYears):yyyy-MM-dd}, or leave it out while it is open.");
        });
        RuleFor(p => p.TimeZone).Custom((zone, context) =>
        {
            if (zone is not null && !IsZone(zone))
                context.Fault($"timeZone is '{Rules.Shown(zone)}', which is not an IANA time zone; give one such as Europe/London, or leave it out for the clinic's.");
        });
        RuleFor(p => p.PainLimit).Needed("the pain limit from 0 to 10");
        RuleFor(p => p.PainLimit).Custom((limit, context) =>
        {
            if (limit is < 0 or > 10)
                context.Fault($"painLimit is {limit}; give a whole number from 0 to 10.");
        });
        RuleFor(p => p.Exercises).Custom((exercises, context) =>
        {
            if (exercises is null or { Count: 0 } && context.InstanceToValidate.Template is null)
                context.Fault("exercises is empty and there is no template; name a template with its level, or list at least one exercise.");
        });
        RuleFor(p => p.Exercises).AtMost(MostExercises);
        RuleFor(p => p.Exercises).Distinct(e => $"{e.Exercise} ({e.Side})", "the exercise and side");
        RuleForEach(p => p.Exercises).SetValidator(new PrescriptionRules());
        RuleFor(p => p.Goals).AtMost(10);
        RuleForEach(p => p.Goals).SetValidator(new GoalRules());
        RuleFor(p => p.Reporting).SetValidator(new ReportingRules()!);
        RuleFor(p => p.Author).SetValidator(new ClinicianRules()!);
    }

    private static bool IsZone(string zone) =>
        zone.Length <= 64 && zone.Contains('/', StringComparison.Ordinal) && TimeZoneInfo.TryFindSystemTimeZoneById(zone, out var found) && found.HasIanaId;
}

internal sealed class PrescriptionRules : AbstractValidator<PrescriptionRequest>
{
    public static readonly string[] Sided = [Sides.Left, Sides.Right, Sides.Both];

    public PrescriptionRules()
    {
        RuleFor(e => e.Exercise).Needed("code|version of an exercise");
        RuleFor(e => e.Exercise).LibraryAddress();
        RuleFor(e => e.Side).Needed("left, right or both");
        RuleFor(e => e.Side).OneOf(Sided, "a side");
        RuleFor(e => e.HandOrder).OneOf(CodeLists.HandOrder, "an order of hands");
        RuleFor(e => e.Dosage).SetValidator(new DosageRules(whole: false)!);
        RuleFor(e => e.Position).OneOf(CodeLists.Position, "a position");
        RuleFor(e => e.HelpLevel).OneOf(CodeLists.HelpLevel, "a level of help");
        RuleFor(e => e.Instruction).Text(Rules.LongText);
        RuleFor(e => e.Schedule).SetValidator(new ScheduleRules()!);
    }

    internal sealed class ScheduleRules : AbstractValidator<ScheduleRequest>
    {
        public ScheduleRules()
        {
            RuleFor(s => s.TimesPerDay).WithinRange(1, ScheduleRequest.MostPerDay, "times a day");
            RuleFor(s => s.DaysOfWeek).Distinct(d => d, "the day");
            RuleForEach(s => s.DaysOfWeek).Custom((day, context) =>
            {
                if (!Timings.Days.Contains(day))
                    context.Fault($"{context.PropertyPath} is '{Rules.Shown(day)}', which is not a day of the week; use one of: {string.Join(", ", Timings.Days)}.");
            });
            RuleFor(s => s.TimesOfDay).Distinct(t => t, "the time");
            RuleForEach(s => s.TimesOfDay).Custom((time, context) =>
            {
                if (!TimeOnly.TryParseExact(time, "HH:mm", CultureInfo.InvariantCulture, DateTimeStyles.None, out _))
                    context.Fault($"{context.PropertyPath} is '{Rules.Shown(time)}'; give a time from 00:00 to 23:59 as HH:mm.");
            });
            RuleFor(s => s).Custom((schedule, context) =>
            {
                if (schedule.TimesOfDay is { Count: > 0 } times && schedule.TimesPerDay is { } perDay && times.Count != perDay)
                    context.Fault($"{context.PropertyPath} has {times.Count} timesOfDay and timesPerDay {perDay}; give as many times as there are occasions, or leave timesOfDay out.");
            });
        }
    }
}

internal sealed class GoalRules : AbstractValidator<GoalRequest>
{
    public static readonly string[] LevelNames = ["-2", "-1", "0", "+1", "+2"];

    public GoalRules()
    {
        RuleFor(g => g.Description).Needed("the goal in words");
        RuleFor(g => g.Description).Text(Rules.LongText);
        RuleFor(g => g.Levels).Custom((levels, context) =>
        {
            if (levels is null || !levels.Keys.Order().SequenceEqual(LevelNames.Order()))
                context.Fault($"{context.PropertyPath} has {(levels is null or { Count: 0 } ? "no levels" : string.Join(", ", levels.Keys.Select(Rules.Shown)))}; describe exactly the five levels {string.Join(", ", LevelNames)}.");
            foreach (var (name, text) in levels ?? new Dictionary<string, string>())
                if (string.IsNullOrWhiteSpace(text) || text.Length > Rules.LongText)
                    context.Fault($"{context.PropertyPath}.{Rules.Shown(name)} is blank or too long; describe the level in 1 to {Rules.LongText} characters.");
        });
        RuleFor(g => g.Importance).WithinRange(0, 3, "a weight");
        RuleFor(g => g.Difficulty).WithinRange(0, 3, "a weight");
        RuleFor(g => g.Due).Needed("the day by which it should be attained");
    }
}
