using System.ComponentModel;
using System.ComponentModel.DataAnnotations;
using FluentValidation;
using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.Trade;

namespace RehabRecords.Flags;

/// <summary>A clinician's clearance of a red flag.</summary>
public sealed record ClearanceRequest
{
    [Required, Description("The clinician who clears it.")]
    public Clinician? By { get; init; }

    [Required, Description("Why it may be cleared: what was examined or decided.")]
    public string? Reason { get; init; }
}

internal sealed class ClearanceRules : AbstractValidator<ClearanceRequest>
{
    /// <summary>"ok" is not a reason that anybody can review later.</summary>
    private const int ShortestReason = 10;

    public ClearanceRules()
    {
        RuleFor(c => c.By).Needed("the clinician who clears the flag, with name and role");
        RuleFor(c => c.By).SetValidator(new ClinicianRules()!);
        RuleFor(c => c.Reason).Needed("what was examined or decided, so that the clearance can be reviewed");
        RuleFor(c => c.Reason).Text(Rules.LongText);
        RuleFor(c => c.Reason).Custom((reason, context) =>
        {
            if (!string.IsNullOrWhiteSpace(reason) && reason.Trim().Length < ShortestReason)
                context.Fault($"reason is '{reason}', which has {reason.Trim().Length} characters; say in at least {ShortestReason} what was examined or decided.");
        });
    }
}

public static class FlagEndpoints
{
    public static void MapFlags(this IEndpointRouteBuilder routes)
    {
        var flags = routes.MapGroup("/api/flags").WithTags("Flags");
        flags.MapGet("", ListAsync).WithSummary("List a person's red flags")
            .WithDescription("Active ones first, then cleared ones, each with urgency, source and clearance. `person` is the person's id.");
        flags.MapGet("{id}", GetAsync).Refuses().WithSummary("Read a red flag").WithDescription("One red flag with its urgency, its source and its clearance.");
        flags.MapPost("{id}/clearance", (string id, Posted<ClearanceRequest> posted, ClearFlag clear, CancellationToken ct) => clear.RunAsync(id, posted, ct)).Answers<FlagAnswer>(StatusCodes.Status200OK).Refuses().WithExample("clearance")
            .WithSummary("Clear a red flag")
            .WithDescription("A red flag freezes progression until a clinician clears it with a reason, which is kept. The software never clears one by itself. "
                + "The open drafts of the person are redone. A flag that is cleared already is refused (409).");
    }

    private static async Task<IReadOnlyList<FlagAnswer>> ListAsync(string person, RecordStore store, CancellationToken ct)
    {
        var (patient, _) = await store.RoutedAsync<Patient>(Rules.Bare(person, "Patient"), "person", ct);
        var found = await store.FindAllAsync<Flag>($"subject=Patient/{patient.Id}", ct);
        return [.. found.Where(f => f.IsRedFlag()).OrderBy(f => f.Status == Flag.FlagStatus.Active ? 0 : 1)
            .ThenBy(f => f.Period?.Start, StringComparer.Ordinal).Select(f => f.ToAnswer())];
    }

    private static async Task<FlagAnswer> GetAsync(string id, RecordStore store, CancellationToken ct) =>
        (await RedFlagAsync(id, store, ct)).Flag.ToAnswer();

    /// <exception cref="RefusedException">There is no such red flag.</exception>
    internal static async Task<(Flag Flag, int Version)> RedFlagAsync(string id, RecordStore store, CancellationToken ct)
    {
        var (flag, version) = await store.RoutedAsync<Flag>(id, "red flag", ct);
        return flag.IsRedFlag()
            ? (flag, version)
            : throw new RefusedException(Refusal.NotFound, OperationOutcome.IssueType.NotFound, $"Flag '{id}' is a precaution, not a red flag; list the red flags with /api/flags?person=.", "id");
    }
}
