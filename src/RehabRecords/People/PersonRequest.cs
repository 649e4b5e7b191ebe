using System.ComponentModel;
using System.ComponentModel.DataAnnotations;
using FluentValidation;
using RehabRecords.Terms;
using RehabRecords.Trade;

namespace RehabRecords.People;

/// <summary>A person who is treated, with what decides how results are read and who helps at home.</summary>
public sealed record PersonRequest
{
    [Description("The sender's own identifier of the person; refused if another person holds it.")]
    public BusinessId? Identifier { get; init; }

    [Required, Description("Family name.")]
    public string? FamilyName { get; init; }

    [Required, Description("Given names, in order.")]
    public IReadOnlyList<string>? GivenNames { get; init; }

    [Required, Description("Date of birth, not in the future.")]
    public DateOnly? BirthDate { get; init; }

    [Required, Description("female, male, other or unknown.")]
    public string? Sex { get; init; }

    [Description("Dominant hand before the stroke: left, right or both.")]
    public string? DominantHand { get; init; }

    [Description("Side affected: left, right, both or none.")]
    public string? AffectedSide { get; init; }

    [Description("Day of onset; thresholds are matched to the time since.")]
    public DateOnly? OnsetDate { get; init; }

    [Description("Who helps at home.")]
    public CarerRequest? Carer { get; init; }

    [Description("Precautions that hold for the whole person, each once.")]
    public IReadOnlyList<PrecautionRequest>? Precautions { get; init; }
}

public sealed record CarerRequest
{
    [Required, Description("Name of the carer.")]
    public string? Name { get; init; }

    [Description("Relationship in words, such as daughter.")]
    public string? Relationship { get; init; }

    [Description("Telephone number.")]
    public string? Phone { get; init; }
}

public sealed record PrecautionRequest
{
    [Required, Description("reduced-sensation, shoulder-pain, fragile-skin, swelling, falls-risk, neglect, spasticity, seizures, cognition, communication, swallowing or anticoagulant.")]
    public string? Code { get; init; }

    [Description("What it means for this person.")]
    public string? Note { get; init; }
}

internal sealed class PersonRules : AbstractValidator<PersonRequest>
{
    public static readonly string[] Sexes = ["female", "male", "other", "unknown"];
    public static readonly string[] Hands = [Sides.Left, Sides.Right, Sides.Both];
    public static readonly string[] Affected = [Sides.Left, Sides.Right, Sides.Both, "none"];

    /// <summary>No one has been known to live longer.</summary>
    private const int OldestYears = 125;

    public PersonRules(TimeProvider clock)
    {
        RuleFor(p => p.Identifier).SetValidator(new BusinessIdRules()!);
        RuleFor(p => p.FamilyName).Needed("the family name");
        RuleFor(p => p.FamilyName).Text(Rules.ShortText);
        RuleFor(p => p.GivenNames).Needed("at least one given name");
        RuleFor(p => p.GivenNames).AtMost(10);
        RuleForEach(p => p.GivenNames).ChildRules(n => n.RuleFor(x => x).Text(Rules.ShortText));
        RuleFor(p => p.BirthDate).Needed("the date of birth, such as 1958-02-11");
        RuleFor(p => p.BirthDate).Custom((birth, context) =>
        {
            var today = DateOnly.FromDateTime(clock.GetUtcNow().UtcDateTime).AddDays(1);
            if (birth > today || birth < today.AddYears(-OldestYears))
                context.Fault($"{context.PropertyPath} is {birth:yyyy-MM-dd}; give a date from {today.AddYears(-OldestYears):yyyy-MM-dd} to today.");
        });
        RuleFor(p => p.Sex).Needed($"one of: {string.Join(", ", Sexes)}");
        RuleFor(p => p.Sex).OneOf(Sexes, "a recorded sex");
        RuleFor(p => p.DominantHand).OneOf(Hands, "a dominant hand");
        RuleFor(p => p.AffectedSide).OneOf(Affected, "an affected side");
        RuleFor(p => p.OnsetDate).Custom((onset, context) =>
        {
            var today = DateOnly.FromDateTime(clock.GetUtcNow().UtcDateTime).AddDays(1);
            if (onset > today || onset < context.InstanceToValidate.BirthDate)
                context.Fault($"{context.PropertyPath} is {onset:yyyy-MM-dd}; give a date from the date of birth to today, or leave it out if it is not known.");
        });
        RuleFor(p => p.Carer).SetValidator(new CarerRules()!);
        RuleFor(p => p.Precautions).AtMost(20);
        RuleFor(p => p.Precautions).Distinct(x => x.Code, "the precaution");
        RuleForEach(p => p.Precautions).SetValidator(new PrecautionRules());
    }

    private sealed class CarerRules : AbstractValidator<CarerRequest>
    {
        public CarerRules()
        {
            RuleFor(c => c.Name).Needed("the carer's name, or leave the carer out");
            RuleFor(c => c.Name).Text(Rules.ShortText);
            RuleFor(c => c.Relationship).Text(Rules.ShortText);
            RuleFor(c => c.Phone).Text(50);
        }
    }

    private sealed class PrecautionRules : AbstractValidator<PrecautionRequest>
    {
        public PrecautionRules()
        {
            RuleFor(c => c.Code).Needed($"one of: {CodeLists.Precaution}");
            RuleFor(c => c.Code).OneOf(CodeLists.Precaution, "a precaution");
            RuleFor(c => c.Note).Text(Rules.LongText);
        }
    }
}
