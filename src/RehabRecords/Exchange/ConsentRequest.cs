using System.ComponentModel;
using System.ComponentModel.DataAnnotations;
using FluentValidation;
using RehabRecords.Trade;

namespace RehabRecords.Exchange;

/// <summary>What a person decided about sharing their record with an organisation.</summary>
public sealed record ConsentRequest
{
    public const string Permit = "permit", Deny = "deny";

    [Required, Description("permit or deny.")]
    public string? Decision { get; init; }

    [Required, Description("The organisation it is about.")]
    public OrganisationRequest? Recipient { get; init; }

    [Description("First day on which it holds; today when left out.")]
    public DateOnly? From { get; init; }

    [Description("Last day, included; without end when left out.")]
    public DateOnly? To { get; init; }

    [Description("Id of the carer who decided for the person; left out when the person decided.")]
    public string? Carer { get; init; }

    [Required, Description("The clinician who took the decision down.")]
    public Clinician? RecordedBy { get; init; }

    [Description("What the person was told, or said.")]
    public string? Note { get; init; }
}

public sealed record OrganisationRequest
{
    [Required, Description("Name of the organisation.")]
    public string? Name { get; init; }

    [Required, Description("Its identifier: by it the organisation is recognised again, never by its name.")]
    public BusinessId? Identifier { get; init; }
}

/// <summary>A person takes a consent back.</summary>
public sealed record WithdrawalRequest
{
    [Required, Description("The clinician who took it down.")]
    public Clinician? RecordedBy { get; init; }

    [Description("Why, if the person said so.")]
    public string? Reason { get; init; }
}

internal sealed class ConsentRules : AbstractValidator<ConsentRequest>
{
    public ConsentRules()
    {
        RuleFor(c => c.Decision).Needed("permit or deny");
        RuleFor(c => c.Decision).OneOf([ConsentRequest.Permit, ConsentRequest.Deny], "a decision about sharing");
        RuleFor(c => c.Recipient).Needed("the organisation the decision is about, with name and identifier");
        RuleFor(c => c.Recipient).SetValidator(new OrganisationRules()!);
        RuleFor(c => c.To).Custom((to, context) =>
        {
            if (to < context.InstanceToValidate.From)
                context.Fault($"to is {to:yyyy-MM-dd}, before from ({context.InstanceToValidate.From:yyyy-MM-dd}); give a day from then on, or leave it out.");
        });
        RuleFor(c => c.Carer).IdOf("RelatedPerson");
        RuleFor(c => c.RecordedBy).Needed("the clinician who took the decision down, with name and role");
        RuleFor(c => c.RecordedBy).SetValidator(new ClinicianRules()!);
        RuleFor(c => c.Note).Text(Rules.LongText);
    }
}

internal sealed class OrganisationRules : AbstractValidator<OrganisationRequest>
{
    public OrganisationRules()
    {
        RuleFor(o => o.Name).Needed("the name of the organisation");
        RuleFor(o => o.Name).Text(Rules.ShortText);
        RuleFor(o => o.Identifier).Needed("an identifier of the organisation, with system and value");
        RuleFor(o => o.Identifier).SetValidator(new BusinessIdRules()!);
    }
}

internal sealed class WithdrawalRules : AbstractValidator<WithdrawalRequest>
{
    public WithdrawalRules()
    {
        RuleFor(w => w.RecordedBy).Needed("the clinician who took the withdrawal down, with name and role");
        RuleFor(w => w.RecordedBy).SetValidator(new ClinicianRules()!);
        RuleFor(w => w.Reason).Text(Rules.LongText);
    }
}
