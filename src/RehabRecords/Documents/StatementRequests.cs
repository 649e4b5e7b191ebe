using System.ComponentModel;
using System.ComponentModel.DataAnnotations;
using FluentValidation;
using RehabRecords.Trade;

namespace RehabRecords.Documents;

/// <summary>Drafted statements that a clinician has read and lets stand.</summary>
public sealed record AcceptanceRequest
{
    [Required, Description("Who accepts.")]
    public Signer? By { get; init; }

    [Description("Ids of the statements; all that nobody has touched, and no other, when left out.")]
    public IReadOnlyList<string>? Statements { get; init; }
}

/// <summary>Other words in place of what stands there.</summary>
public sealed record EditRequest
{
    [Required, Description("Who edits; the words are theirs from then on.")]
    public Signer? By { get; init; }

    [Required, Description("The sentence as it is to read, 1 to 4000 characters.")]
    public string? Text { get; init; }
}

/// <summary>A statement taken out.</summary>
public sealed record RemovalRequest
{
    [Required, Description("Who removes it.")]
    public Signer? By { get; init; }

    [Required, Description("Why, in at least 10 characters; it stays visible.")]
    public string? Reason { get; init; }
}

/// <summary>Back to the drafted words.</summary>
public sealed record RestorationRequest
{
    [Required, Description("Who restores it.")]
    public Signer? By { get; init; }
}

/// <summary>A statement of a clinician's own.</summary>
public sealed record OwnStatementRequest
{
    [Required, Description("Who writes it.")]
    public Signer? By { get; init; }

    [Required, Description("The section it belongs to, by its title (such as plan) or LOINC code.")]
    public string? Section { get; init; }

    [Required, Description("The sentence, 1 to 4000 characters.")]
    public string? Text { get; init; }

    [Description("What it rests on, if anything that is recorded: addresses of this person's resources, as Type/id/_history/version, or as Type/id for what is current.")]
    public IReadOnlyList<string>? Evidence { get; init; }

    [Description("Id of the statement after which it is to stand; at the end of its section when left out.")]
    public string? After { get; init; }
}

/// <summary>A fresh draft that keeps what clinicians did.</summary>
public sealed record RefreshRequest
{
    [Required, Description("Who asks for it.")]
    public Signer? By { get; init; }
}

internal static class DocumentRules
{
    /// <summary>"ok" is not a reason that anybody can review later.</summary>
    private const int ShortestReason = 10;

    public const int MostEvidence = 50;
    public const int MostStatements = 500;

    public static void Staff<T>(this IRuleBuilder<T, Signer?> rule, string wanted)
    {
        rule.Needed(wanted);
        rule.SetValidator(new SignerRules()!);
    }

    public static void Reasoned<T>(this IRuleBuilder<T, string?> rule)
    {
        rule.Text(Rules.LongText);
        rule.Custom((reason, context) =>
        {
            if (!string.IsNullOrWhiteSpace(reason) && reason.Trim().Length < ShortestReason)
                context.Fault($"{context.PropertyPath} is '{reason}', which has {reason.Trim().Length} characters; say in at least {ShortestReason} what was the reason, so that it can be reviewed.");
        });
    }
}

internal sealed class AcceptanceRules : AbstractValidator<AcceptanceRequest>
{
    public AcceptanceRules()
    {
        RuleFor(r => r.By).Staff("who accepts, with name and role");
        RuleFor(r => r.Statements).AtMost(DocumentRules.MostStatements);
        RuleFor(r => r.Statements).Distinct(s => s, "the statement");
    }
}

internal sealed class EditRules : AbstractValidator<EditRequest>
{
    public EditRules()
    {
        RuleFor(r => r.By).Staff("who edits, with name and role");
        RuleFor(r => r.Text).Needed("the sentence as it is to read");
        RuleFor(r => r.Text).Text(Rules.LongText);
    }
}

internal sealed class RemovalRules : AbstractValidator<RemovalRequest>
{
    public RemovalRules()
    {
        RuleFor(r => r.By).Staff("who removes it, with name and role");
        RuleFor(r => r.Reason).Needed("why the statement is removed");
        RuleFor(r => r.Reason).Reasoned();
    }
}

internal sealed class RestorationRules : AbstractValidator<RestorationRequest>
{
    public RestorationRules() => RuleFor(r => r.By).Staff("who restores it, with name and role");
}

internal sealed class RefreshRules : AbstractValidator<RefreshRequest>
{
    public RefreshRules() => RuleFor(r => r.By).Staff("who asks for a fresh draft, with name and role");
}

internal sealed class OwnStatementRules : AbstractValidator<OwnStatementRequest>
{
    public OwnStatementRules()
    {
        RuleFor(r => r.By).Staff("who writes it, with name and role");
        RuleFor(r => r.Section).Needed("the section it belongs to, by its title, such as plan");
        RuleFor(r => r.Section).Text(Rules.ShortText);
        RuleFor(r => r.Text).Needed("the sentence");
        RuleFor(r => r.Text).Text(Rules.LongText);
        RuleFor(r => r.Evidence).AtMost(DocumentRules.MostEvidence);
        RuleFor(r => r.Evidence).Distinct(e => e, "the address");
        RuleFor(r => r.After).Text(64);
    }
}
