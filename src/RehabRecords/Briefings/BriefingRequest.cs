using System.ComponentModel;
using System.ComponentModel.DataAnnotations;
using FluentValidation;
using RehabRecords.Trade;

namespace RehabRecords.Briefings;

/// <summary>A carer is told what the programme asks of them.</summary>
public sealed record BriefingRequest
{
    [Description("Id of the carer; the person's only carer when left out.")]
    public string? Carer { get; init; }

    [Required, Description("What the carer was told, a point at a time.")]
    public IReadOnlyList<string>? Points { get; init; }

    [Required, Description("The clinician who briefed.")]
    public Clinician? By { get; init; }

    [Description("true: nothing begins, or goes on, until the carer has acknowledged it. A programme prescribed with briefingRequired waits in any case.")]
    public bool Required { get; init; }
}

/// <summary>A carer says, or shows, that the briefing was understood.</summary>
public sealed record AcknowledgementRequest
{
    [Required, Description("Whether the carer understood: false keeps the programme on hold until another briefing.")]
    public bool? Understood { get; init; }

    [Description("What the carer showed or said back, in their words.")]
    public string? ShownBack { get; init; }

    [Description("The clinician who saw it; left out when the carer acknowledged by themselves.")]
    public Clinician? Witness { get; init; }
}

internal sealed class BriefingRules : AbstractValidator<BriefingRequest>
{
    private const int MostPoints = 40;

    public BriefingRules()
    {
        RuleFor(b => b.Carer).IdOf("RelatedPerson");
        RuleFor(b => b.Points).Needed("at least one point the carer was told");
        RuleFor(b => b.Points).AtMost(MostPoints);
        RuleForEach(b => b.Points).ChildRules(p => p.RuleFor(x => x).Needed("a text, or leave the point out"));
        RuleForEach(b => b.Points).ChildRules(p => p.RuleFor(x => x).Text(Rules.LongText));
        RuleFor(b => b.By).Needed("the clinician who briefed, with name and role");
        RuleFor(b => b.By).SetValidator(new ClinicianRules()!);
    }
}

internal sealed class AcknowledgementRules : AbstractValidator<AcknowledgementRequest>
{
    public AcknowledgementRules()
    {
        RuleFor(a => a.Understood).Needed("true or false");
        RuleFor(a => a.ShownBack).Text(Rules.LongText);
        RuleFor(a => a.Witness).SetValidator(new ClinicianRules()!);
    }
}
