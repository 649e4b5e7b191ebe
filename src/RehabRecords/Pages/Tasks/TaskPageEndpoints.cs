using FluentValidation;
using Hl7.Fhir.Model;
using Microsoft.AspNetCore.Http.HttpResults;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.Host;
using RehabRecords.Pages.Desk;
using RehabRecords.Pages.You;
using RehabRecords.Tasks;
using RehabRecords.Trade;

namespace RehabRecords.Pages.Tasks;

/// <summary>A task, and who may be going to close it.</summary>
public sealed record TaskPageView(TaskAnswer Task, string PersonName, Who? Who)
{
    public string? Outcome { get; init; }

    public string? Reason { get; init; }

    public IReadOnlyList<string> Faults { get; init; } = [];

    public string Address => $"/tasks/{Task.Id}";

    public string Person => $"/people/{Task.Person?.Split('/')[^1]}";

    /// <summary>Where a task ends that is settled by something else.</summary>
    public string? Elsewhere => Task.SettledBy switch
    {
        OpenTasks.Conflict => $"/conflicts/{Task.Id}",
        OpenTasks.Briefing when Task.About?.Split('/') is ["CarePlan", var programme, ..] => $"/programmes/{programme}/desk#briefing",
        _ => null,
    };
}

/// <summary>The page on which a clinician says what became of a task.</summary>
internal static class TaskPageEndpoints
{
    public static void MapTaskPage(this IEndpointRouteBuilder routes)
    {
        routes.MapGet("/tasks/{id}", async (string id, HttpContext http, RecordStore store, WhoCookie cookie, CancellationToken ct) => Page(await ReadAsync(id, store, cookie.Read(http), ct)));
        routes.MapPost("/tasks/{id}", CloseAsync);
    }

    private static async Task<IResult> CloseAsync(
        string id, Filled form, HttpContext http, CloseTask close, RecordStore store, WhoCookie cookie, IValidator<OutcomeRequest> rules, CancellationToken ct)
    {
        try
        {
            form.Check();
            var request = new OutcomeRequest { Outcome = form["outcome"], Reason = form["reason"], By = cookie.Require(http).Clinician() };
            await PostedBody.CheckAsync(rules, request, ct);
            await close.RunAsync(id, new Posted<OutcomeRequest>(request, "", null), ct);
            return new SeeOther($"/tasks/{id}");
        }
        catch (RefusedException refused) when (refused.Refusal != Refusal.NotFound)
        {
            var view = await ReadAsync(id, store, cookie.Read(http), ct);
            return Page(view with { Outcome = form["outcome"], Reason = form["reason"], Faults = PageWords.Of(refused) }, Failure.StatusOf(refused.Refusal));
        }
    }

    private static async Task<TaskPageView> ReadAsync(string id, RecordStore store, Who? who, CancellationToken ct)
    {
        var task = (await TaskEndpoints.WorkAsync(id, store, ct)).Task.ToAnswer();
        var patient = task.Person?.Split('/')[^1] is { } person ? (await store.GetAsync<Patient>(person, ct))?.Resource : null;
        return new TaskPageView(task, patient is null ? "the person's page" : DeskReads.NameOf(patient), who);
    }

    private static RazorComponentResult<TaskPage> Page(TaskPageView view, int status = StatusCodes.Status200OK) => new(new { Model = view }) { StatusCode = status };
}
