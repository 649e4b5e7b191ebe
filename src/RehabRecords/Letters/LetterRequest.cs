using System.ComponentModel;
using System.ComponentModel.DataAnnotations;
using FluentValidation;
using RehabRecords.Discharges;
using RehabRecords.Trade;

namespace RehabRecords.Letters;

/// <summary>What only a person knows of a transfer to another team. All else is drafted from the record.</summary>
public sealed record LetterRequest
{
    [Required, Description("Id of the person, as POST /api/people answered it.")]
    public string? Person { get; init; }

    [Required, Description("Who the letter is to.")]
    public RecipientRequest? To { get; init; }

    [Description("Who else gets it.")]
    public IReadOnlyList<RecipientRequest>? Copies { get; init; }

    [Required, Description("Why the care goes over to them.")]
    public string? Reason { get; init; }

    [Required, Description("What they are asked to do.")]
    public string? Request { get; init; }

    [Description("First day on which the care is theirs; left out when that is not settled, which the letter then says.")]
    public DateOnly? From { get; init; }

    [Description("Diagnosis as the clinician states it; the record keeps none.")]
    public string? Diagnosis { get; init; }

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

    [Description("Whom to ask with questions, and how.")]
    public string? Contact { get; init; }

    [Required, Description("The clinician who writes.")]
    public Clinician? Author { get; init; }
}

internal sealed class LetterRequestRules : AbstractValidator<LetterRequest>
{
    private const int MostCopies = 20;

    public LetterRequestRules()
    {
        RuleFor(l => l.Person).Needed("the id that POST /api/people answered");
        RuleFor(l => l.Person).IdOf("Patient");
        RuleFor(l => l.To).Needed("who the letter is to, with name and role");
        RuleFor(l => l.To).SetValidator(new RecipientRules()!);
        RuleFor(l => l.Copies).AtMost(MostCopies);
        RuleForEach(l => l.Copies).SetValidator(new RecipientRules());
        RuleFor(l => l.Reason).Needed("why the care goes over to them");
        RuleFor(l => l.Request).Needed("what they are asked to do");
        foreach (var words in (System.Linq.Expressions.Expression<Func<LetterRequest, string?>>[])
            [l => l.Reason, l => l.Request, l => l.Diagnosis, l => l.Requirements, l => l.Legal, l => l.Social, l => l.Wishes, l => l.Information, l => l.Contact])
            RuleFor(words).Text(Rules.LongText);
        RuleFor(l => l.Author).Needed("the clinician who writes, with name and role");
        RuleFor(l => l.Author).SetValidator(new ClinicianRules()!);
    }

    private sealed class RecipientRules : AbstractValidator<RecipientRequest>
    {
        public RecipientRules()
        {
            RuleFor(r => r.Name).Needed("the name of who gets the letter");
            RuleFor(r => r.Name).Text(Rules.ShortText);
            RuleFor(r => r.Role).Needed("the role, such as community physiotherapist or GP");
            RuleFor(r => r.Role).Text(Rules.ShortText);
            RuleFor(r => r.Organisation).Text(Rules.ShortText);
        }
    }
}
