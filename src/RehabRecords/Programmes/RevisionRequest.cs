using System.ComponentModel;
using System.ComponentModel.DataAnnotations;
using FluentValidation;
using RehabRecords.Library;
using RehabRecords.Terms;
using RehabRecords.Trade;

namespace RehabRecords.Programmes;

/// <summary>A change of a programme under way: from one day on, with the reason.</summary>
public sealed record RevisionRequest
{
    [Description("First day on which the changes hold; the day after the latest result of what is changed when left out, but not before today.")]
    public DateOnly? From { get; init; }

    [Description("Exercises to be added, as in a new programme. One in place of another is a stop and an add.")]
    public IReadOnlyList<PrescriptionRequest>? Add { get; init; }

    [Description("Exercises to be changed, each with what differs from now on.")]
    public IReadOnlyList<ChangeRequest>? Change { get; init; }

    [Description("Exercises to be stopped: ids of prescriptions, or codes.")]
    public IReadOnlyList<string>? Stop { get; init; }

    [Description("A new schedule for every exercise that goes on and has none of its own in 'change'.")]
    public ScheduleRequest? Schedule { get; init; }

    [Required, Description("Why the programme is revised.")]
    public string? Reason { get; init; }

    [Required, Description("The clinician who revises it.")]
    public Clinician? By { get; init; }
}

public sealed record ChangeRequest
{
    [Required, Description("Id of the prescription, or the exercise's code.")]
    public string? Exercise { get; init; }

    [Description("What differs from the present dosage.")]
    public DosageRequest? Dosage { get; init; }

    [Description("The new schedule.")]
    public ScheduleRequest? Schedule { get; init; }

    [Description("affected-first, less-affected-first, both-together or affected-only.")]
    public string? HandOrder { get; init; }

    [Description("sitting-at-table, sitting-arm-supported, sitting, standing or lying.")]
    public string? Position { get; init; }

    [Description("independent, set-up, verbal-prompt or hands-on.")]
    public string? HelpLevel { get; init; }

    [Description("Words for this person, in place of those so far.")]
    public string? Instruction { get; init; }

    internal bool SaysSomething => Dosage is not null || Schedule is not null || HandOrder is not null || Position is not null || HelpLevel is not null || Instruction is not null;
}

internal sealed class RevisionRules : AbstractValidator<RevisionRequest>
{
    public RevisionRules()
    {
        RuleFor(r => r).Custom((revision, context) =>
        {
            if (revision is { Add: null or { Count: 0 }, Change: null or { Count: 0 }, Stop: null or { Count: 0 }, Schedule: null })
                context.FaultOf("change", "is missing, and so are add, stop and schedule; say what is to be changed.");
        });
        RuleFor(r => r.Add).AtMost(30);
        RuleForEach(r => r.Add).SetValidator(new PrescriptionRules());
        RuleFor(r => r.Change).AtMost(30);
        RuleForEach(r => r.Change).ChildRules(change =>
        {
            change.RuleFor(c => c.Exercise).Needed("the id of the prescription, or the exercise's code");
            change.RuleFor(c => c.Exercise).Text(Rules.ShortText);
            change.RuleFor(c => c.Dosage).SetValidator(new DosageRules(whole: false)!);
            change.RuleFor(c => c.Schedule).SetValidator(new PrescriptionRules.ScheduleRules()!);
            change.RuleFor(c => c.HandOrder).OneOf(CodeLists.HandOrder, "an order of hands");
            change.RuleFor(c => c.Position).OneOf(CodeLists.Position, "a position");
            change.RuleFor(c => c.HelpLevel).OneOf(CodeLists.HelpLevel, "a level of help");
            change.RuleFor(c => c.Instruction).Text(Rules.LongText);
            change.RuleFor(c => c).Custom((item, context) =>
            {
                if (!item.SaysSomething)
                    context.FaultOf("dosage", "is missing, and so is everything else that could differ; say what is to be changed.");
            });
        });
        RuleFor(r => r.Stop).AtMost(30);
        RuleFor(r => r.Schedule).SetValidator(new PrescriptionRules.ScheduleRules()!);
        RuleFor(r => r.Reason).Needed("why the programme is revised");
        RuleFor(r => r.Reason).Text(Rules.LongText);
        RuleFor(r => r.By).Needed("the clinician who revises it, with name and role");
        RuleFor(r => r.By).SetValidator(new ClinicianRules()!);
    }
}
