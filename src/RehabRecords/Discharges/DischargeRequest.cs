using System.ComponentModel;
using System.ComponentModel.DataAnnotations;
using FluentValidation;
using RehabRecords.Trade;

namespace RehabRecords.Discharges;

/// <summary>What only a person knows of a discharge. All else is drafted from the record.</summary>
public sealed record DischargeRequest
{
    [Required, Description("Id of the person, as POST /api/people answered it.")]
    public string? Person { get; init; }

    [Description("Last day of care, not in the future; today when left out.")]
    public DateOnly? DischargedOn { get; init; }

    [Required, Description("Why the person is discharged.")]
    public string? Reason { get; init; }

    [Required, Description("Where to, or into whose care: home, a community team, a GP.")]
    public string? Destination { get; init; }

    [Description("Diagnosis as the clinician states it; the record keeps none.")]
    public string? Diagnosis { get; init; }

    [Description("Who referred the person.")]
    public string? Referrer { get; init; }

    [Description("Communication, interpreter and other individual needs.")]
    public string? Requirements { get; init; }

    [Description("Capacity, consent and other legal matters.")]
    public string? Legal { get; init; }

    [Description("Home, and who helps there.")]
    public string? Social { get; init; }

    [Description("Concerns, expectations and wishes of the person and the carer.")]
    public string? Wishes { get; init; }

    [Description("Information and advice given, and in what form.")]
    public string? Information { get; init; }

    [Description("Whom to contact with problems, and how.")]
    public string? Contact { get; init; }

    [Description("What remains to be done, each with its owner. An empty list says that nothing does.")]
    public IReadOnlyList<ActionRequest>? Actions { get; init; }

    [Description("Day of the review; left out when none is planned, which the summary then says.")]
    public DateOnly? ReviewDate { get; init; }

    [Required, Description("Who gets the summary; at least one.")]
    public IReadOnlyList<RecipientRequest>? Distribution { get; init; }

    [Description("Equipment supplied, each in words.")]
    public IReadOnlyList<string>? Equipment { get; init; }

    [Description("What the carer was trained in.")]
    public IReadOnlyList<TrainingRequest>? CarerTraining { get; init; }

    [Description("Blockers that may stay open, each with the reason. A red flag can never be among them.")]
    public IReadOnlyList<OverrideRequest>? Overrides { get; init; }

    [Required, Description("The clinician who discharges.")]
    public Clinician? Author { get; init; }
}

/// <summary>Something that remains to be done.</summary>
public sealed record ActionRequest
{
    [Required, Description("What is asked for.")]
    public string? Text { get; init; }

    [Required, Description("Who does it: a name, a role or both.")]
    public string? Owner { get; init; }

    [Description("By when; left out when there is no day.")]
    public DateOnly? Due { get; init; }
}

/// <summary>Somebody who gets the summary.</summary>
public sealed record RecipientRequest
{
    [Required, Description("Name.")]
    public string? Name { get; init; }

    [Required, Description("Role, such as GP, person, carer, community physiotherapist.")]
    public string? Role { get; init; }

    public string? Organisation { get; init; }
}

/// <summary>Training that a carer was given.</summary>
public sealed record TrainingRequest
{
    [Required, Description("What it was about.")]
    public string? Topic { get; init; }

    [Required, Description("Who was trained.")]
    public string? Trained { get; init; }

    public DateOnly? On { get; init; }

    [Description("What the carer could do afterwards, as observed.")]
    public string? Competency { get; init; }
}

/// <summary>Something left open at discharge.</summary>
public sealed record OverrideRequest
{
    [Required, Description("Address of the blocker as it was refused with, such as Composition/… or Task/….")]
    public string? Blocker { get; init; }

    [Required, Description("Why it may stay open.")]
    public string? Reason { get; init; }
}

internal sealed class DischargeRequestRules : AbstractValidator<DischargeRequest>
{
    private const int MostEntries = 50;

    public DischargeRequestRules()
    {
        RuleFor(d => d.Person).Needed("the id that POST /api/people answered");
        RuleFor(d => d.Person).IdOf("Patient");
        RuleFor(d => d.Reason).Needed("why the person is discharged");
        RuleFor(d => d.Reason).Text(Rules.LongText);
        RuleFor(d => d.Destination).Needed("where to, or into whose care");
        RuleFor(d => d.Destination).Text(Rules.LongText);
        foreach (var words in (System.Linq.Expressions.Expression<Func<DischargeRequest, string?>>[])
            [d => d.Diagnosis, d => d.Referrer, d => d.Requirements, d => d.Legal, d => d.Social, d => d.Wishes, d => d.Information, d => d.Contact])
            RuleFor(words).Text(Rules.LongText);
        RuleFor(d => d.Actions).AtMost(MostEntries);
        RuleForEach(d => d.Actions).ChildRules(action =>
        {
            action.RuleFor(a => a.Text).Needed("what is asked for");
            action.RuleFor(a => a.Text).Text(Rules.LongText);
            action.RuleFor(a => a.Owner).Needed("who does it");
            action.RuleFor(a => a.Owner).Text(Rules.ShortText);
            action.RuleFor(a => a.Due).Custom((due, context) => NotBefore(due, context.RootContextData, context));
        });
        RuleFor(d => d.ReviewDate).Custom((review, context) => NotBefore(review, context.RootContextData, context));
        RuleFor(d => d.Distribution).Needed("at least one who gets the summary, such as the GP and the person");
        RuleFor(d => d.Distribution).AtMost(MostEntries);
        RuleForEach(d => d.Distribution).ChildRules(recipient =>
        {
            recipient.RuleFor(r => r.Name).Needed("the name of who gets the summary");
            recipient.RuleFor(r => r.Name).Text(Rules.ShortText);
            recipient.RuleFor(r => r.Role).Needed("the role, such as GP");
            recipient.RuleFor(r => r.Role).Text(Rules.ShortText);
            recipient.RuleFor(r => r.Organisation).Text(Rules.ShortText);
        });
        RuleFor(d => d.Equipment).AtMost(MostEntries);
        RuleForEach(d => d.Equipment).Custom((item, context) =>
        {
            if (string.IsNullOrWhiteSpace(item) || item.Length > Rules.ShortText)
                context.Fault($"{context.PropertyPath} has {item?.Length ?? 0} characters; name the equipment in 1 to {Rules.ShortText}.");
        });
        RuleFor(d => d.CarerTraining).AtMost(MostEntries);
        RuleForEach(d => d.CarerTraining).ChildRules(training =>
        {
            training.RuleFor(t => t.Topic).Needed("what the training was about");
            training.RuleFor(t => t.Topic).Text(Rules.LongText);
            training.RuleFor(t => t.Trained).Needed("who was trained");
            training.RuleFor(t => t.Trained).Text(Rules.ShortText);
            training.RuleFor(t => t.Competency).Text(Rules.LongText);
        });
        RuleFor(d => d.Overrides).AtMost(MostEntries);
        RuleFor(d => d.Overrides).Distinct(o => o.Blocker, "blocker");
        RuleForEach(d => d.Overrides).SetValidator(new OverrideRules());
        RuleFor(d => d.Author).Needed("the clinician who discharges, with name and role");
        RuleFor(d => d.Author).SetValidator(new ClinicianRules()!);
    }

    protected override bool PreValidate(ValidationContext<DischargeRequest> context, FluentValidation.Results.ValidationResult result)
    {
        if (context.InstanceToValidate.DischargedOn is { } day)
            context.RootContextData[nameof(DischargeRequest.DischargedOn)] = day;
        return base.PreValidate(context, result);
    }

    private static void NotBefore<T>(DateOnly? day, IDictionary<string, object> known, ValidationContext<T> context)
    {
        if (known.TryGetValue(nameof(DischargeRequest.DischargedOn), out var value) && value is DateOnly discharged && day < discharged)
            context.Fault($"{context.PropertyPath} is {day:yyyy-MM-dd}, before dischargedOn ({discharged:yyyy-MM-dd}); give a day from then on, or leave it out.");
    }
}

internal sealed class OverrideRules : AbstractValidator<OverrideRequest>
{
    /// <summary>"ok" is not a reason that anybody can review later.</summary>
    private const int ShortestReason = 10;

    public OverrideRules()
    {
        RuleFor(o => o.Blocker).Needed("the address of the blocker as it was refused with");
        RuleFor(o => o.Blocker).Text(Rules.ShortText);
        RuleFor(o => o.Reason).Needed("why it may stay open");
        RuleFor(o => o.Reason).Text(Rules.LongText);
        RuleFor(o => o.Reason).Custom((reason, context) =>
        {
            if (!string.IsNullOrWhiteSpace(reason) && reason.Trim().Length < ShortestReason)
                context.Fault($"{context.PropertyPath} is '{reason}', which has {reason.Trim().Length} characters; say in at least {ShortestReason} why it may stay open.");
        });
    }
}
