using FluentValidation;
using Microsoft.AspNetCore.Http.HttpResults;
using RehabRecords.Access;
using RehabRecords.Exchange;
using RehabRecords.Fhir;
using RehabRecords.Host;
using RehabRecords.Pages.You;
using RehabRecords.Trade;

namespace RehabRecords.Pages.Conflicts;

/// <summary>Where a clinician chooses between what was changed here and what another team changed; it runs the command of /api.</summary>
internal static class ConflictEndpoints
{
    public const string Path = "/conflicts";

    public static void MapConflicts(this IEndpointRouteBuilder routes)
    {
        var conflict = routes.MapGroup(Path + "/{id}");
        conflict.MapGet("", async (string id, HttpContext http, ConflictReads reads, WhoCookie cookie, Calling calling, CancellationToken ct) =>
            Page(await reads.ReadAsync(id, ct) with { Who = cookie.Read(http), MayDecide = calling.Caller.May(Act.TakeIn) }));
        conflict.MapPost("", DecideAsync);
    }

    private static async Task<IResult> DecideAsync(
        string id, Filled form, HttpContext http, TakeIn takeIn, ConflictReads reads, WhoCookie cookie, IValidator<ResolutionRequest> rules, CancellationToken ct)
    {
        try
        {
            form.Check();
            var request = new ResolutionRequest { Choice = form["choice"], By = cookie.Require(http).Clinician(), Reason = form["reason"], Seen = form["seen"] };
            await PostedBody.CheckAsync(rules, request, ct);
            await takeIn.DecideAsync(id, request, ct);
            return new SeeOther($"{Path}/{id}");
        }
        catch (RefusedException refused) when (refused.Refusal != Refusal.NotFound)
        {
            var now = await reads.ReadAsync(id, ct);
            return Page(now with { Who = cookie.Read(http), Choice = form["choice"], Reason = form["reason"], Faults = Told(refused, now) }, Failure.StatusOf(refused.Refusal));
        }
    }

    private static IReadOnlyList<string> Told(RefusedException refused, ConflictView now) =>
        refused.Issues[0].Expression == "seen" ? ["The programme was changed here after you had opened this page, so your choice was not stored. What it says now stands below; look at it and decide again. Your reason is still there."]
        : refused.Refusal == Refusal.Conflict && now.Decided is not null ? ["Somebody else has decided this meanwhile; your choice was not stored. What was decided stands below."]
        : [.. PageWords.Of(refused).Select(m => m == "Choice is missing; give ours or theirs." ? "Choose one of the two." : m)];

    private static RazorComponentResult<ConflictPage> Page(ConflictView view, int status = StatusCodes.Status200OK) => new(new { Model = view }) { StatusCode = status };
}
