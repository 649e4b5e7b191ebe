using System.ComponentModel;
using System.ComponentModel.DataAnnotations;
using FluentValidation;
using RehabRecords.Terms;
using RehabRecords.Trade;

namespace RehabRecords.Library;

/// <summary>An exercise of the clinic's library. A version is never changed: a change is a new version.</summary>
public sealed record ExerciseRequest
{
    [Required, Description("Code in the clinic's library: lower case words joined by hyphens.")]
    public string? Code { get; init; }

    [Required, Description("Version: one to three numbers joined by dots.")]
    public string? Version { get; init; }

    [Required, Description("Title as the person reads it.")]
    public string? Title { get; init; }

    [Required, Description("What the exercise is for.")]
    public string? Purpose { get; init; }

    [Required, Description("How it is done, in plain words.")]
    public string? Instructions { get; init; }

    [Required, Description("sitting-at-table, sitting-arm-supported, sitting, standing or lying.")]
    public string? Position { get; init; }

    [Description("What is needed, each with a household alternative where there is one.")]
    public IReadOnlyList<EquipmentItem>? Equipment { get; init; }

    [Required, Description("Usual dosage on one occasion; a programme may change it.")]
    public DosageRequest? Dosage { get; init; }

    [Description("affected-first, less-affected-first, both-together or affected-only.")]
    public string? HandOrder { get; init; }

    [Description("independent, set-up, verbal-prompt or hands-on.")]
    public string? HelpLevel { get; init; }

    [Description("What makes it easier or harder, one dimension each.")]
    public IReadOnlyList<GradingStep>? Grading { get; init; }

    [Description("Cautions, and stop rules (stop: true), with the condition under which each applies.")]
    public IReadOnlyList<CautionItem>? Cautions { get; init; }

    [Required, Description("When a repetition counts as a success; results are judged by it.")]
    public string? SuccessCriterion { get; init; }

    [Description("warm-up or task.")]
    public string? Role { get; init; }
}

public sealed record EquipmentItem
{
    [Required, Description("The thing needed.")]
    public string? Item { get; init; }

    [Description("What can be used at home instead.")]
    public string? HouseholdAlternative { get; init; }
}

public sealed record GradingStep
{
    [Required, Description("easier or harder.")]
    public string? Direction { get; init; }

    [Required, Description("speed, vision, object, support, precision, range, hand-role, sensory, help or repetitions.")]
    public string? Dimension { get; init; }

    [Required, Description("What to change.")]
    public string? Text { get; init; }
}

public sealed record CautionItem
{
    [Required, Description("reduced-sensation, warm-water, shoulder-pain, fragile-skin, swelling, small-objects, sharp-objects, standing, fatigue, spasticity, neglect or general.")]
    public string? Code { get; init; }

    [Description("When it applies; left out if always.")]
    public string? Condition { get; init; }

    [Required, Description("What to do.")]
    public string? Text { get; init; }

    [Description("True for a rule to stop by.")]
    public bool Stop { get; init; }
}

internal sealed class ExerciseRules : AbstractValidator<ExerciseRequest>
{
    public static readonly string[] Directions = ["easier", "harder"];

    public ExerciseRules()
    {
        RuleFor(e => e.Code).Needed("the exercise's code, such as coin-stacking");
        RuleFor(e => e.Code).LibraryCode();
        RuleFor(e => e.Version).Needed("the version, such as 1.0.0");
        RuleFor(e => e.Version).LibraryVersion();
        RuleFor(e => e.Title).Needed("the title as the person reads it");
        RuleFor(e => e.Title).Text(Rules.ShortText);
        RuleFor(e => e.Purpose).Needed("what the exercise is for");
        RuleFor(e => e.Purpose).Text(Rules.LongText);
        RuleFor(e => e.Instructions).Needed("how it is done, in plain words");
        RuleFor(e => e.Instructions).Text(Rules.LongText);
        RuleFor(e => e.Position).Needed($"one of: {CodeLists.Position}");
        RuleFor(e => e.Position).OneOf(CodeLists.Position, "a position");
        RuleFor(e => e.Dosage).Needed("the usual dosage on one occasion");
        RuleFor(e => e.Dosage).SetValidator(new DosageRules(whole: true)!);
        RuleFor(e => e.HandOrder).OneOf(CodeLists.HandOrder, "an order of hands");
        RuleFor(e => e.HelpLevel).OneOf(CodeLists.HelpLevel, "a level of help");
        RuleFor(e => e.SuccessCriterion).Needed("when a repetition counts as a success");
        RuleFor(e => e.SuccessCriterion).Text(Rules.LongText);
        RuleFor(e => e.Role).OneOf(CodeLists.ExerciseRole, "a role");
        RuleFor(e => e.Equipment).AtMost(30);
        RuleForEach(e => e.Equipment).ChildRules(item =>
        {
            item.RuleFor(i => i.Item).Needed("the thing needed");
            item.RuleFor(i => i.Item).Text(Rules.ShortText);
            item.RuleFor(i => i.HouseholdAlternative).Text(Rules.ShortText);
        });
        RuleFor(e => e.Grading).AtMost(30);
        RuleForEach(e => e.Grading).ChildRules(step =>
        {
            step.RuleFor(s => s.Direction).Needed($"one of: {string.Join(", ", Directions)}");
            step.RuleFor(s => s.Direction).OneOf(Directions, "a direction");
            step.RuleFor(s => s.Dimension).Needed($"one of: {CodeLists.GradingDimension}");
            step.RuleFor(s => s.Dimension).OneOf(CodeLists.GradingDimension, "a dimension of grading");
            step.RuleFor(s => s.Text).Needed("what to change");
            step.RuleFor(s => s.Text).Text(Rules.LongText);
        });
        RuleFor(e => e.Cautions).AtMost(30);
        RuleForEach(e => e.Cautions).ChildRules(caution =>
        {
            caution.RuleFor(c => c.Code).Needed($"one of: {CodeLists.Caution}");
            caution.RuleFor(c => c.Code).OneOf(CodeLists.Caution, "a caution");
            caution.RuleFor(c => c.Condition).Text(Rules.LongText);
            caution.RuleFor(c => c.Text).Needed("what to do");
            caution.RuleFor(c => c.Text).Text(Rules.LongText);
        });
    }
}
