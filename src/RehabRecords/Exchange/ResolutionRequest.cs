using System.ComponentModel;
using System.ComponentModel.DataAnnotations;
using FluentValidation;
using RehabRecords.Trade;

namespace RehabRecords.Exchange;

/// <summary>A clinician chooses between what was changed here and what was changed there.</summary>
public sealed record ResolutionRequest
{
    public const string Ours = "ours", Theirs = "theirs";

    [Required, Description("ours keeps what is here; theirs takes in what was sent. Both stay in the history.")]
    public string? Choice { get; init; }

    [Required, Description("The clinician who decides.")]
    public Clinician? By { get; init; }

    [Required, Description("Why.")]
    public string? Reason { get; init; }

    [Description("The `state` of the conflict as it was read. With it, the decision is refused (409) where the record was changed since.")]
    public string? Seen { get; init; }
}

internal sealed class ResolutionRules : AbstractValidator<ResolutionRequest>
{
    public ResolutionRules()
    {
        RuleFor(r => r.Choice).Needed("ours or theirs");
        RuleFor(r => r.Choice).OneOf([ResolutionRequest.Ours, ResolutionRequest.Theirs], "a choice");
        RuleFor(r => r.By).Needed("the clinician who decides, with name and role");
        RuleFor(r => r.By).SetValidator(new ClinicianRules()!);
        RuleFor(r => r.Reason).Needed("why it is decided so");
        RuleFor(r => r.Reason).Text(Rules.LongText);
        RuleFor(r => r.Seen).Text(Rules.ShortText);
    }
}

/// <summary>Something that waits for a clinician's choice, or that was decided.</summary>
/// <param name="State">Which versions of ours it was compared with, to be sent with the decision as `seen`; null in a list, and once it is decided.</param>
public sealed record ConflictAnswer(
    string Id, string? Status, string? Person, string? About, string? From, IReadOnlyList<string> Differences, IReadOnlyList<string> Waiting, string Original, string? Choice, string? DecidedBy, string Text, string? State = null);
