using System.ComponentModel;
using System.ComponentModel.DataAnnotations;
using FluentValidation;
using RehabRecords.Trade;

namespace RehabRecords.Discharges;

/// <summary>The end of an episode, once its summary is signed.</summary>
public sealed record CompletionRequest
{
    [Required, Description("The clinician who completes the discharge.")]
    public Clinician? By { get; init; }

    [Description("What came up since the summary was drafted and may stay open, each with the reason. A red flag can never be among them.")]
    public IReadOnlyList<OverrideRequest>? Overrides { get; init; }
}

internal sealed class CompletionRules : AbstractValidator<CompletionRequest>
{
    public CompletionRules()
    {
        RuleFor(c => c.By).Needed("the clinician who completes the discharge, with name and role");
        RuleFor(c => c.By).SetValidator(new ClinicianRules()!);
        RuleFor(c => c.Overrides).Distinct(o => o.Blocker, "blocker");
        RuleForEach(c => c.Overrides).SetValidator(new OverrideRules());
    }
}

/// <summary>What a completed discharge has ended and begun.</summary>
/// <param name="Status">completed.</param>
/// <param name="Ended">Addresses of the programmes and prescriptions that were completed, with what became of each.</param>
/// <param name="Tasks">Addresses of the tasks made from the actions of the summary.</param>
public sealed record CompletionView(string Id, string Address, string Status, string Episode, string DischargedOn, IReadOnlyList<EndedView> Ended, IReadOnlyList<string> Tasks);

/// <param name="Status">completed; revoked for a prescription that would have begun later and has never held.</param>
public sealed record EndedView(string Resource, string? Title, string Status);
