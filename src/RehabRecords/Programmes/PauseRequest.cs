using System.ComponentModel;
using System.ComponentModel.DataAnnotations;
using FluentValidation;
using RehabRecords.Trade;

namespace RehabRecords.Programmes;

/// <summary>Days on which nothing is due.</summary>
public sealed record PauseRequest
{
    [Required, Description("First day on which nothing is due.")]
    public DateOnly? From { get; init; }

    [Description("Last such day, included; left out while it is not known, and given later by ending the pause.")]
    public DateOnly? To { get; init; }

    [Required, Description("Why practice is paused.")]
    public string? Reason { get; init; }

    [Required, Description("The clinician who pauses it.")]
    public Clinician? By { get; init; }
}

/// <summary>The end of a pause.</summary>
public sealed record PauseEndRequest
{
    [Description("Last day on which nothing is due; yesterday when left out, so that practice goes on today.")]
    public DateOnly? To { get; init; }

    [Required, Description("The clinician who ends it.")]
    public Clinician? By { get; init; }
}

/// <summary>The withdrawal of a pause that has not begun.</summary>
public sealed record PauseWithdrawalRequest
{
    [Required, Description("The clinician who withdraws it.")]
    public Clinician? By { get; init; }

    [Required, Description("Why it is not needed.")]
    public string? Reason { get; init; }
}

internal sealed class PauseWithdrawalRules : AbstractValidator<PauseWithdrawalRequest>
{
    public PauseWithdrawalRules()
    {
        RuleFor(p => p.By).Needed("the clinician who withdraws it, with name and role");
        RuleFor(p => p.By).SetValidator(new ClinicianRules()!);
        RuleFor(p => p.Reason).Needed("why it is not needed");
        RuleFor(p => p.Reason).Text(Rules.LongText);
    }
}

internal sealed class PauseRules : AbstractValidator<PauseRequest>
{
    public PauseRules()
    {
        RuleFor(p => p.From).Needed("the first day on which nothing is due, such as 2026-06-15");
        RuleFor(p => p.To).Custom((to, context) =>
        {
            if (to < context.InstanceToValidate.From)
                context.Fault($"to is {to:yyyy-MM-dd}, before from ({context.InstanceToValidate.From:yyyy-MM-dd}); give the last paused day, or leave it out while it is not known.");
        });
        RuleFor(p => p.Reason).Needed("why practice is paused");
        RuleFor(p => p.Reason).Text(Rules.LongText);
        RuleFor(p => p.By).Needed("the clinician who pauses it, with name and role");
        RuleFor(p => p.By).SetValidator(new ClinicianRules()!);
    }
}

internal sealed class PauseEndRules : AbstractValidator<PauseEndRequest>
{
    public PauseEndRules()
    {
        RuleFor(p => p.By).Needed("the clinician who ends it, with name and role");
        RuleFor(p => p.By).SetValidator(new ClinicianRules()!);
    }
}
