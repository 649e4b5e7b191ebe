using System.ComponentModel;
using System.ComponentModel.DataAnnotations;
using FluentValidation;
using RehabRecords.Discharges;
using RehabRecords.Fhir.Store;
using RehabRecords.Trade;

namespace RehabRecords.Erasure;

/// <summary>The first of two steps: asks for a person's record to be erased, and shows what that would take.</summary>
public sealed record ErasureRequest
{
    [Required, Description("The ground: retention-over, person-asked, court-order, recorded-by-mistake or other-law. All but the first also hold before the time is over.")]
    public string? Basis { get; init; }

    [Required, Description("Why, with the law or the letter, in at least 10 characters. It is erased with the record.")]
    public string? Reason { get; init; }

    [Description("True to erase although something is unsigned or open; the refusal lists what.")]
    public bool? LeaveOpen { get; init; }

    [Required, Description("The records officer. Of somebody who signed in, who that is counts.")]
    public Clinician? By { get; init; }
}

/// <summary>The second step: confirms, by what the first has shown.</summary>
public sealed record ErasureConfirmation
{
    [Required, Description("Id of the person, once more.")]
    public string? Person { get; init; }

    [Required, Description("Family name of the person, as recorded.")]
    public string? FamilyName { get; init; }

    [Required, Description("Versions that will be erased, as shown.")]
    public long? Versions { get; init; }

    [Required, Description("Digest of what will be erased, as shown.")]
    public string? Digest { get; init; }

    [Description("Digest of the manifest of the export that the person was given, to be kept with the tombstone.")]
    public string? RecordDigest { get; init; }

    [Required, Description("The records officer. Of somebody who signed in, who that is counts.")]
    public Clinician? By { get; init; }
}

/// <param name="Request">Id of the request, for the confirmation.</param>
/// <param name="People">The person, and those whose records were merged into theirs.</param>
/// <param name="AuditEvents">Events of the audit trail that stay without what tells of the person.</param>
/// <param name="Elsewhere">What names the person and stays, since it is about somebody else too; look at it by hand.</param>
/// <param name="ValidUntil">Until when it can be confirmed.</param>
public sealed record ErasureShown(
    string Request, string Person, string? FamilyName, IReadOnlyList<string> GivenNames, string? BirthDate, IReadOnlyList<string> People, string Basis, string Retention,
    long Resources, long Versions, IReadOnlyList<TypeCount> Types, int AuditEvents, IReadOnlyList<string> Elsewhere, string Digest, IReadOnlyList<BlockerView> Open, DateTimeOffset ValidUntil);

/// <summary>A tombstone as it is told: nothing in it is about the person.</summary>
public sealed record ErasureView(
    string Id, DateTimeOffset At, string By, string Basis, long Resources, long Versions, long AuditEvents, string Digest, string? RecordDigest)
{
    internal static ErasureView Of(Tombstone t) => new(t.Id, t.At, t.By, t.Basis, t.Resources, t.Versions, t.AuditEvents, t.Digest, t.RecordDigest);
}

/// <param name="RemainsCleared">Whether nothing is left in the files of the store.</param>
/// <param name="Next">What is still to be done, in words.</param>
public sealed record ErasureDone(ErasureView Erasure, bool RemainsCleared, IReadOnlyList<string> Next);

internal static class Bases
{
    public const string RetentionOver = "retention-over";

    public static readonly string[] All = [RetentionOver, "person-asked", "court-order", "recorded-by-mistake", "other-law"];
}

internal sealed class ErasureRules : AbstractValidator<ErasureRequest>
{
    public ErasureRules()
    {
        RuleFor(e => e.Basis).Custom((basis, context) =>
        {
            if (!Bases.All.Contains(basis, StringComparer.Ordinal))
                context.Fault($"basis is '{Rules.Shown(basis ?? "")}'; give the ground, one of: {string.Join(", ", Bases.All)}.");
        });
        RuleFor(e => e.Reason).Custom((reason, context) =>
        {
            if (reason is null || reason.Trim().Length < Retention.WhyRule.ShortestReason || reason.Length > Rules.LongText)
                context.Fault($"reason has {reason?.Trim().Length ?? 0} characters; say in {Retention.WhyRule.ShortestReason} to {Rules.LongText} why, with the law or the letter.");
        });
        RuleFor(e => e.By).Needed("the records officer, with name and role");
        RuleFor(e => e.By).SetValidator(new ClinicianRules()!);
    }
}

internal sealed class ConfirmationRules : AbstractValidator<ErasureConfirmation>
{
    private const int DigestLength = 64;

    public ConfirmationRules()
    {
        RuleFor(c => c.Person).Needed("the id of the person, once more");
        RuleFor(c => c.FamilyName).Needed("the family name of the person, as recorded");
        RuleFor(c => c.Versions).NotNull().WithMessage("versions is missing; give the number of versions as it was shown.");
        RuleFor(c => c.Digest).Needed("the digest as it was shown");
        RuleFor(c => c.RecordDigest).Custom((digest, context) =>
        {
            if (digest is not null && (digest.Length != DigestLength || digest.Any(c => !char.IsAsciiHexDigitLower(c))))
                context.Fault($"recordDigest is '{Rules.Shown(digest)}'; give the {DigestLength} figures that the export printed, or leave it out.");
        });
        RuleFor(c => c.By).Needed("the records officer, with name and role");
        RuleFor(c => c.By).SetValidator(new ClinicianRules()!);
    }
}
