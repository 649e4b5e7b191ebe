using Hl7.Fhir.Model;
using RehabRecords.Clinical;
using RehabRecords.Fhir.Store;
using RehabRecords.Trade;

namespace RehabRecords.Programmes;

/// <param name="MayBeActive">Whether the clinic's minimum is met.</param>
public sealed record ReportingAnswer(string Programme, string? Status, bool MayBeActive, IReadOnlyList<StandardAnswer> Standards);

/// <param name="Minimum">Fewest lines the clinic asks for; 0 when it asks for none.</param>
public sealed record StandardAnswer(
    string Standard, int Filled, int Lines, int Minimum, string Text, SourceAnswer Source, IReadOnlyList<ReportingLine> Items);

/// <param name="Met">Whether every field of it is filled.</param>
/// <param name="Required">Whether the gap keeps the programme from becoming active.</param>
public sealed record ReportingLine(string Item, string Text, bool Met, bool Required, IReadOnlyList<ReportingFieldAnswer> Fields);

/// <param name="FilledBy">Member of POST /api/programmes that fills it, or what else does.</param>
/// <param name="Exercises">Exercises that lack it.</param>
public sealed record ReportingFieldAnswer(string Field, bool Filled, string FilledBy, IReadOnlyList<string> Exercises);

public static class ReportingEndpoints
{
    public static void MapReporting(this IEndpointRouteBuilder routes)
    {
        var programme = routes.MapGroup("/api/programmes/{id}").WithTags("Programmes");
        programme.MapGet("reporting", GetAsync).Produces<ReportingAnswer>().Refuses().WithSummary("Check how fully a programme is described")
            .WithDescription("Against the 16 items (19 lines) of CERT and the 12 of TIDieR: each met or not, and the field that fills each gap. "
                + "What only practice can show (changes on the way, how far it was delivered as planned) fills with the first reported session.");
        programme.MapPost("activation", (string id, Posted<ActivationRequest> posted, ActivateProgramme activate, CancellationToken ct) => activate.RunAsync(id, posted, ct))
            .Answers<ProgrammeAnswer>(StatusCodes.Status200OK).Refuses().WithExample("activation")
            .WithSummary("Hand over a draft programme")
            .WithDescription("Makes a draft and its prescriptions active; from then on sessions are taken. What `reporting` says is added to what the draft says. "
                + "Below the clinic's minimum of reporting it is refused with the gaps (422); a programme that is no draft is refused (409).");
        programme.MapPost("withdrawal", (string id, Posted<DraftWithdrawalRequest> posted, WithdrawDraft withdraw, CancellationToken ct) => withdraw.RunAsync(id, posted, ct))
            .Answers<ProgrammeAnswer>(StatusCodes.Status200OK).Refuses().WithExample("draft-withdrawal")
            .WithSummary("Withdraw a draft programme")
            .WithDescription("A draft that will not be handed over is kept as entered in error, with its prescriptions and goals and with the reason. A programme that is no draft is refused (409).");
    }

    internal static async Task<ReportingAnswer> GetAsync(string id, RecordStore store, Host.Settings settings, CancellationToken ct)
    {
        var (programme, _) = await store.RoutedAsync<CarePlan>(id, "programme", ct);
        // What a revision has replaced is no longer part of the description.
        var requests = (await store.FindAllAsync<ServiceRequest>($"based-on=CarePlan/{id}", ct))
            .Where(r => r.Status is not (RequestStatus.Revoked or RequestStatus.EnteredInError)).ToList();
        var sessions = await store.FindAllAsync<Procedure>($"based-on=CarePlan/{id}", ct);
        var filled = ReportingFields.Filled(programme, requests, sessions.Any(s => s.Status is EventStatus.Completed or EventStatus.NotDone));
        var required = settings.Reporting.Gaps(filled).Select(g => g.Item).ToHashSet();
        return new ReportingAnswer($"CarePlan/{id}", programme.StatusElement?.JsonValue as string, required.Count == 0,
        [
            .. from standard in Enum.GetValues<ReportingStandard>()
               let score = ReportingCheck.Score(standard, filled)
               select new StandardAnswer(
                   ReportingMinimum.Name(standard), score.Filled, score.Lines, standard == ReportingStandard.Cert ? settings.Reporting.Cert : settings.Reporting.Tidier,
                   score.Text, SourceAnswer.Of(score.Source),
                   [.. ReportingCheck.Items.Where(i => i.Standard == standard).Select(i => new ReportingLine(
                       i.Item, i.Text, i.Fields.All(filled.Contains), required.Contains(i),
                       [.. i.Fields.Select(f => new ReportingFieldAnswer(f, filled.Contains(f), ReportingFields.FilledBy(f), ReportingFields.Lacking(f, requests)))]))]),
        ]);
    }
}
