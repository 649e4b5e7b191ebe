using System.ComponentModel;
using System.ComponentModel.DataAnnotations;
using FluentValidation;
using RehabRecords.Terms;
using RehabRecords.Trade;

namespace RehabRecords.HomeLinks;

/// <summary>A link by which sessions of one programme are reported from home.</summary>
public sealed record HomeLinkRequest
{
    /// <summary>Longer than a programme usually runs without a review. Common practice, no source.</summary>
    public const int MostDays = 84;

    [Required, Description("Who will use it: patient or carer.")]
    public string? For { get; init; }

    [Required, Description("Last day on which it works, in the programme's zone; at most 84 days (12 weeks) from today.")]
    public DateOnly? ValidUntil { get; init; }

    [Required, Description("The clinician who hands it out.")]
    public Clinician? By { get; init; }
}

/// <summary>The end of a link before its last day.</summary>
public sealed record HomeLinkRevocationRequest
{
    [Required, Description("The clinician who revokes it.")]
    public Clinician? By { get; init; }

    [Required, Description("Why, such as a lost phone.")]
    public string? Reason { get; init; }
}

internal sealed class HomeLinkRules : AbstractValidator<HomeLinkRequest>
{
    public HomeLinkRules()
    {
        RuleFor(l => l.For).Needed($"one of: {CodeLists.HomeLink}");
        RuleFor(l => l.For).OneOf(CodeLists.HomeLink, "who can use a link");
        RuleFor(l => l.ValidUntil).Needed("the last day on which it works, such as 2026-07-12");
        RuleFor(l => l.By).Needed("the clinician who hands it out, with name and role");
        RuleFor(l => l.By).SetValidator(new ClinicianRules()!);
    }
}

internal sealed class HomeLinkRevocationRules : AbstractValidator<HomeLinkRevocationRequest>
{
    public HomeLinkRevocationRules()
    {
        RuleFor(r => r.By).Needed("the clinician who revokes it, with name and role");
        RuleFor(r => r.By).SetValidator(new ClinicianRules()!);
        RuleFor(r => r.Reason).Needed("why it is revoked");
        RuleFor(r => r.Reason).Text(Rules.LongText);
    }
}
