using System.ComponentModel;
using System.ComponentModel.DataAnnotations;
using FluentValidation;
using RehabRecords.Library;
using RehabRecords.Terms;
using RehabRecords.Trade;

namespace RehabRecords.Decisions;

/// <summary>What a clinician decides about one exercise, on the suggestion that stands.</summary>
public sealed record DecisionRequest
{
    [Required, Description("Id of the prescription, or the exercise's code.")]
    public string? Exercise { get; init; }

    [Required, Description("advance, hold, step-back or stop.")]
    public string? Decision { get; init; }

    [Description("The step: one, in one dimension. For advance and step-back.")]
    public StepRequest? Grading { get; init; }

    [Description("The new dosage, when the step changes it: what differs from the present one. For advance and step-back.")]
    public DosageRequest? Dosage { get; init; }

    [Description("First day on which it holds; the day after the exercise's latest result when left out, but not before today.")]
    public DateOnly? From { get; init; }

    [Description("true locks the level: the rules then suggest to hold, until a later decision says false. Left out, it stays as it is.")]
    public bool? Lock { get; init; }

    [Description("Why. Needed when the decision departs from the suggestion, and always to stop.")]
    public string? Reason { get; init; }

    [Required, Description("The clinician who decides.")]
    public Clinician? By { get; init; }
}

public sealed record StepRequest
{
    [Required, Description("speed, vision, object, support, precision, range, hand-role, sensory, help or repetitions.")]
    public string? Dimension { get; init; }

    [Description("What is to be done, in words for the person; the one of the exercise's own gradings when left out.")]
    public string? Text { get; init; }
}

internal sealed class DecisionRules : AbstractValidator<DecisionRequest>
{
    public static readonly string[] Decisions = [DecisionCode.Advance, DecisionCode.Hold, DecisionCode.StepBack, DecisionCode.Stop];

    private static readonly string[] Steps = [DecisionCode.Advance, DecisionCode.StepBack];

    public DecisionRules()
    {
        RuleFor(d => d.Exercise).Needed("the id of the prescription, or the exercise's code");
        RuleFor(d => d.Exercise).Text(Rules.ShortText);
        RuleFor(d => d.Decision).Needed($"one of: {string.Join(", ", Decisions)}");
        RuleFor(d => d.Decision).OneOf(Decisions, "a decision");
        RuleFor(d => d.Grading).ChildRules(step =>
        {
            step.RuleFor(s => s!.Dimension).Needed($"one of: {CodeLists.GradingDimension}");
            step.RuleFor(s => s!.Dimension).OneOf(CodeLists.GradingDimension, "a dimension");
            step.RuleFor(s => s!.Text).Text(Rules.LongText);
        });
        RuleFor(d => d.Dosage).SetValidator(new DosageRules(whole: false)!);
        RuleFor(d => d).Custom((decision, context) =>
        {
            var (what, steps) = (decision.Decision, Steps.Contains(decision.Decision));
            if (Decisions.Contains(what) && !steps && decision.Grading is not null)
                context.FaultOf("grading", $"is given with {what}, which takes no step; leave it out, or decide advance or step-back.");
            if (Decisions.Contains(what) && !steps && decision.Dosage is not null)
                context.FaultOf("dosage", $"is given with {what}, which changes no dosage; leave it out, decide advance or step-back, or revise the programme.");
            if (steps && decision.Grading is null && decision.Dosage is null)
                context.FaultOf("grading", $"is missing, and so is dosage; say which one step {what} takes: the dimension with its text, or the new dosage.");
            if (what == DecisionCode.Stop && decision.Lock is not null)
                context.FaultOf("lock", "is given with stop; an exercise that is stopped has no level to lock. Leave it out.");
            if (what == DecisionCode.Stop && string.IsNullOrWhiteSpace(decision.Reason))
                context.FaultOf("reason", "is missing; say why the exercise is stopped.");
        });
        RuleFor(d => d.Reason).Text(Rules.LongText);
        RuleFor(d => d.By).Needed("the clinician who decides, with name and role");
        RuleFor(d => d.By).SetValidator(new ClinicianRules()!);
    }
}
