using RehabRecords.Progress;
using RehabRecords.Trade;

namespace RehabRecords.Programmes;

public static class RevisionEndpoints
{
    public static void MapRevisions(this IEndpointRouteBuilder routes)
    {
        var programmes = routes.MapGroup("/api/programmes/{id}").WithTags("Programmes");
        programmes.MapPost("revisions", (string id, Posted<RevisionRequest> posted, ReviseProgramme revise, CancellationToken ct) => revise.RunAsync(id, posted, ct))
            .Answers<ProgrammeAnswer>(StatusCodes.Status201Created).Refuses().WithExample("revision")
            .WithSummary("Revise a programme under way")
            .WithDescription("Adds, changes or stops exercises, or changes the schedule, from a day on and with the reason. What is changed ends the day before and a new prescription takes its place; "
                + "results stay with what was prescribed on their day, and adherence and dose are counted by it. Answers the programme as it is then. "
                + "Of two revisions at the same moment one is refused (409). The open draft note is redone.");
        programmes.MapPost("pauses", (string id, Posted<PauseRequest> posted, PauseProgramme pause, CancellationToken ct) => pause.BeginAsync(id, posted, ct))
            .Answers<PauseView>(StatusCodes.Status201Created).Refuses().WithExample("pause")
            .WithSummary("Pause a programme")
            .WithDescription("Nothing is due on the days of a pause; what is practised then all the same is counted as beyond the plan. Pauses do not overlap. The open draft note is redone.");
        programmes.MapPost("pauses/{from}/withdrawal", (string id, string from, Posted<PauseWithdrawalRequest> posted, PauseProgramme pause, CancellationToken ct) => pause.WithdrawAsync(id, from, posted, ct))
            .Answers<PauseView>(StatusCodes.Status200OK).Refuses().WithExample("pause-withdrawal")
            .WithSummary("Withdraw a pause that is still to come")
            .WithDescription("`from` is the first day of the pause. It is no longer among the programme's pauses; who withdrew it and why is kept as a Provenance. One that has begun is ended instead (409).");
        programmes.MapPost("pauses/{from}/end", (string id, string from, Posted<PauseEndRequest> posted, PauseProgramme pause, CancellationToken ct) => pause.EndAsync(id, from, posted, ct))
            .Answers<PauseView>(StatusCodes.Status200OK).Refuses().WithExample("pause-end")
            .WithSummary("End a pause")
            .WithDescription("`from` is the first day of the pause. Gives an open pause its last day, or one that still lasts an earlier one.");
    }
}
