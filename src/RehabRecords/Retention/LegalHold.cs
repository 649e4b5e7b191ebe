using System.ComponentModel;
using System.ComponentModel.DataAnnotations;
using FluentValidation;
using Hl7.Fhir.Model;
using RehabRecords.Access;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.Terms;
using RehabRecords.Trade;

namespace RehabRecords.Retention;

/// <summary>That a record may not be erased while something is going on, such as a claim or an inquiry.</summary>
public sealed record LegalHoldRequest
{
    [Required, Description("Why the record must be kept, in at least 10 characters.")]
    public string? Reason { get; init; }

    [Required, Description("The records officer. Of somebody who signed in, who that is counts.")]
    public Clinician? By { get; init; }
}

/// <param name="Id">Of the Flag.</param>
/// <param name="Flag">Address under /fhir/.</param>
/// <param name="State">in-force or lifted.</param>
public sealed record LegalHoldView(string Id, string Flag, string State, string? Since, string? Reason, string? By, string? LiftedOn, string? LiftedBy, string? LiftedBecause);

internal sealed class LegalHoldRules : AbstractValidator<LegalHoldRequest>
{
    public LegalHoldRules()
    {
        RuleFor(h => h.Reason).Why("why");
        RuleFor(h => h.By).Needed("the records officer, with name and role");
        RuleFor(h => h.By).SetValidator(new ClinicianRules()!);
    }
}

/// <summary>Legal holds as Flags of the person, with ids of their own kind by which they are known in every write.</summary>
internal static class LegalHold
{
    private const string Prefix = "hold-";

    public static bool Is(Flag flag) => flag.Category.Exists(c => c.CodeIn(Systems.FlagCategory) == FlagCategory.LegalHold);

    public static Flag New(string person, string reason, ResourceReference by, DateOnly today) => new()
    {
        Id = Prefix + NewId.Next(),
        Status = Flag.FlagStatus.Active,
        Category = [Concepts.Concept(Systems.FlagCategory, FlagCategory.LegalHold)],
        Code = new CodeableConcept { Text = reason },
        Subject = new ResourceReference($"Patient/{person}"),
        Period = new Period { Start = Day(today) },
        Author = by,
        Text = Readable.Of($"Legal hold since {today:d MMMM yyyy}: {reason}", "The record may not be erased or merged while it is in force."),
    };

    public static void Lift(Flag flag, string reason, Clinician by, DateTimeOffset now)
    {
        flag.Status = Flag.FlagStatus.Inactive;
        (flag.Period ??= new Period()).End = Day(DateOnly.FromDateTime(now.UtcDateTime));
        flag.Extension.Add(new Extension
        {
            Url = Extensions.FlagCleared,
            Extension = [new Extension("by", new FhirString(by.Words)), new Extension("at", new Instant(now)), new Extension("reason", new FhirString(reason))],
        });
        flag.Text = Readable.Of($"Legal hold, lifted: {flag.Code.Text}", $"Lifted by {by.Words}, because: {reason}");
    }

    public static async Task<IReadOnlyList<Flag>> OfAsync(RecordStore store, string person, CancellationToken ct) =>
        [.. (await store.FindAllAsync<Flag>($"subject=Patient/{person}", ct)).Where(Is)];

    public static async Task<IReadOnlyList<Flag>> InForceAsync(RecordStore store, string person, CancellationToken ct) =>
        [.. (await OfAsync(store, person, ct)).Where(f => f.Status == Flag.FlagStatus.Active)];

    public static LegalHoldView View(Flag flag)
    {
        var lifted = flag.GetExtension(Extensions.FlagCleared);
        return new LegalHoldView(
            flag.Id!, $"Flag/{flag.Id}", flag.Status == Flag.FlagStatus.Active ? "in-force" : "lifted", flag.Period?.Start, flag.Code?.Text, flag.Author?.Display,
            flag.Period?.End, lifted?.GetExtensionValue<FhirString>("by")?.Value, lifted?.GetExtensionValue<FhirString>("reason")?.Value);
    }

    /// <summary>Holds are set and lifted by who keeps records, whichever way a write arrives.</summary>
    /// <exception cref="RefusedException">NotPermitted.</exception>
    public static void Guard(WriteSet set, Func<Calling> calling)
    {
        if (set.Writes.FirstOrDefault(w => w.Type == "Flag" && (w.Id.StartsWith(Prefix, StringComparison.Ordinal) || (w.Resource is Flag flag && Is(flag)))) is not { } write)
            return;
        if (!calling().Caller.May(Act.KeepRecords) || (write.Resource is not Flag held || !Is(held) || !write.Id.StartsWith(Prefix, StringComparison.Ordinal)))
            throw new RefusedException(Refusal.NotPermitted, OperationOutcome.IssueType.Forbidden,
                $"Flag/{write.Id} is a legal hold. A records officer sets one (POST /api/people/{{id}}/legal-holds) and lifts it (POST /api/people/{{id}}/legal-holds/{{hold}}/lifting); it is not written or deleted in another way.");
    }

    /// <summary>Who did it: somebody who signed in, whatever the body says; else as the body says.</summary>
    public static Clinician Officer(Caller caller, Clinician stated) =>
        caller.IsPerson ? new Clinician { Name = caller.Name, Role = caller.Profession ?? RoleTable.Word(caller.Role).Replace('-', ' '), Registration = caller.Registration } : stated;

    private static string Day(DateOnly day) => day.ToString("yyyy-MM-dd", System.Globalization.CultureInfo.InvariantCulture);
}

internal static class WhyRule
{
    public const int ShortestReason = 10;

    /// <summary>A reason in words: needed, and long enough to say something.</summary>
    public static void Why<T>(this IRuleBuilderInitial<T, string?> rule, string what) => rule.Custom((reason, context) =>
    {
        if (reason is null || reason.Trim().Length < ShortestReason)
            context.Fault($"{context.PropertyPath} is '{reason}'; say in at least {ShortestReason} characters {what}.");
        else if (reason.Length > Rules.LongText)
            context.Fault($"{context.PropertyPath} has {reason.Length} characters; give at most {Rules.LongText}.");
    });
}
