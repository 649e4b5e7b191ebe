using System.ComponentModel;
using System.ComponentModel.DataAnnotations;
using FluentValidation;
using RehabRecords.Terms;
using RehabRecords.Trade;

namespace RehabRecords.Library;

/// <summary>A graded programme template. A version is never changed: a change is a new version.</summary>
public sealed record TemplateRequest
{
    [Required, Description("Code in the clinic's library: lower case words joined by hyphens.")]
    public string? Code { get; init; }

    [Required, Description("Version: one to three numbers joined by dots.")]
    public string? Version { get; init; }

    [Required, Description("Title.")]
    public string? Title { get; init; }

    [Required, Description("For whom it is meant and how its levels differ.")]
    public string? Description { get; init; }

    [Required, Description("Levels from 1 upwards without a gap.")]
    public IReadOnlyList<TemplateLevel>? Levels { get; init; }
}

public sealed record TemplateLevel
{
    public const int Highest = 20;

    [Required, Range(1, Highest), Description("Number of the level, 1 to 20.")]
    public int? Level { get; init; }

    [Required, Description("Title of the level.")]
    public string? Title { get; init; }

    [Description("When this level may be started, in words; the therapist decides.")]
    public string? StartsWhen { get; init; }

    [Description("Upper-limb capacity bands this level is written for: no-capacity, poor, limited, notable, full (Hoonhorst 2015). A result of the Action Research Arm Test or Fugl-Meyer then proposes the level; the therapist decides.")]
    public IReadOnlyList<string>? CapacityBands { get; init; }

    [Required, Description("Exercises in order, each once.")]
    public IReadOnlyList<TemplateExercise>? Exercises { get; init; }
}

public sealed record TemplateExercise
{
    [Required, Description("code|version of an exercise in the library.")]
    public string? Exercise { get; init; }

    [Description("What differs from the exercise's usual dosage at this level.")]
    public DosageRequest? Dosage { get; init; }
}

internal sealed class TemplateRules : AbstractValidator<TemplateRequest>
{
    public TemplateRules()
    {
        RuleFor(t => t.Code).Needed("the template's code, such as table-top-tasks");
        RuleFor(t => t.Code).LibraryCode();
        RuleFor(t => t.Version).Needed("the version, such as 1.0.0");
        RuleFor(t => t.Version).LibraryVersion();
        RuleFor(t => t.Title).Needed("a title");
        RuleFor(t => t.Title).Text(Rules.ShortText);
        RuleFor(t => t.Description).Needed("for whom it is meant and how its levels differ");
        RuleFor(t => t.Description).Text(Rules.LongText);
        RuleFor(t => t.Levels).Needed($"one to {TemplateLevel.Highest} levels");
        RuleFor(t => t.Levels).Custom((levels, context) =>
        {
            var numbers = (levels ?? []).Select(l => l.Level ?? 0).ToList();
            if (numbers.Count > 0 && !numbers.SequenceEqual(Enumerable.Range(1, numbers.Count)))
                context.Fault($"{context.PropertyPath} are numbered {string.Join(", ", numbers)}; number them 1 to {numbers.Count} in order, because no level may be skipped.");
        });
        RuleForEach(t => t.Levels).ChildRules(level =>
        {
            level.RuleFor(l => l.Level).Needed($"the number of the level, 1 to {TemplateLevel.Highest}");
            level.RuleFor(l => l.Level).WithinRange(1, TemplateLevel.Highest, "a level");
            level.RuleFor(l => l.Title).Needed("a title");
            level.RuleFor(l => l.Title).Text(Rules.ShortText);
            level.RuleFor(l => l.StartsWhen).Text(Rules.LongText);
            level.RuleFor(l => l.CapacityBands).Distinct(b => b, "the capacity band");
            level.RuleForEach(l => l.CapacityBands).OneOf(CodeLists.CapacityBand, "a capacity band");
            level.RuleFor(l => l.Exercises).Needed("at least one exercise");
            level.RuleFor(l => l.Exercises).AtMost(50);
            level.RuleFor(l => l.Exercises).Distinct(e => e.Exercise, "the exercise");
            level.RuleForEach(l => l.Exercises).ChildRules(exercise =>
            {
                exercise.RuleFor(e => e.Exercise).Needed("code|version of an exercise");
                exercise.RuleFor(e => e.Exercise).LibraryAddress();
                exercise.RuleFor(e => e.Dosage).SetValidator(new DosageRules(whole: false)!);
            });
        });
    }
}
