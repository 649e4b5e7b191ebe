using System.ComponentModel;
using System.ComponentModel.DataAnnotations;
using FluentValidation;
using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.Trade;
using FhirTask = Hl7.Fhir.Model.Task;

namespace RehabRecords.Tasks;

/// <summary>What became of a task.</summary>
public sealed record OutcomeRequest
{
    public const string Done = "done", Cancelled = "cancelled";

    [Required, Description("done, or cancelled: it is not going to be done.")]
    public string? Outcome { get; init; }

    [Description("What came of it; for a task that is cancelled, why, in at least 10 characters.")]
    public string? Reason { get; init; }

    [Required, Description("The clinician who says so.")]
    public Clinician? By { get; init; }
}

internal sealed class OutcomeRules : AbstractValidator<OutcomeRequest>
{
    /// <summary>As for a red flag: "no" is not a reason that anybody can review later.</summary>
    private const int ShortestReason = 10;

    public OutcomeRules()
    {
        RuleFor(o => o.Outcome).Needed("done or cancelled");
        RuleFor(o => o.Outcome).OneOf([OutcomeRequest.Done, OutcomeRequest.Cancelled], "an outcome");
        RuleFor(o => o.By).Needed("the clinician who says so, with name and role");
        RuleFor(o => o.By).SetValidator(new ClinicianRules()!);
        RuleFor(o => o.Reason).Text(Rules.LongText);
        RuleFor(o => o.Reason).Custom((reason, context) =>
        {
            if (context.InstanceToValidate.Outcome == OutcomeRequest.Cancelled && (reason?.Trim().Length ?? 0) < ShortestReason)
                context.Fault($"reason is {(reason is null ? "missing" : $"'{Rules.Shown(reason)}'")}; say in at least {ShortestReason} characters why the task is not going to be done.");
        });
    }
}

public static class TaskEndpoints
{
    public static void AddTasks(this IServiceCollection services)
    {
        services.AddScoped<CloseTask>();
        services.AddSingleton<IValidator<OutcomeRequest>, OutcomeRules>();
    }

    public static void MapTasks(this IEndpointRouteBuilder routes)
    {
        var tasks = routes.MapGroup("/api/tasks").WithTags("Tasks");
        tasks.MapGet("", ListAsync).WithSummary("List what is to be done for a person")
            .WithDescription("Open tasks, the oldest first: what, who does it, by when. `settledBy` says where one ends by something else: a briefing by its acknowledgement, a conflict by its resolution. `person` is the person's id.");
        tasks.MapGet("{id}", GetAsync).Refuses().WithSummary("Read a task").WithDescription("One task with what came of it.");
        tasks.MapPost("{id}/outcome", (string id, Posted<OutcomeRequest> posted, CloseTask close, CancellationToken ct) => close.RunAsync(id, posted, ct))
            .Answers<TaskAnswer>(StatusCodes.Status200OK).Refuses().WithExample("task-outcome")
            .WithSummary("Say what became of a task")
            .WithDescription("`done`, or `cancelled` with the reason; who says so is kept. A task that is closed already, or that ends by something else (`settledBy`), is refused (409).");
    }

    private static async Task<IReadOnlyList<TaskAnswer>> ListAsync(string person, RecordStore store, CancellationToken ct)
    {
        var (patient, _) = await store.RoutedAsync<Patient>(Rules.Bare(person, "Patient"), "person", ct);
        return [.. (await OpenTasks.OfAsync(store, patient.Id!, ct)).Select(t => t.ToAnswer())];
    }

    private static async Task<TaskAnswer> GetAsync(string id, RecordStore store, CancellationToken ct) => (await WorkAsync(id, store, ct)).Task.ToAnswer();

    /// <exception cref="RefusedException">There is no such task.</exception>
    internal static async Task<(FhirTask Task, int Version)> WorkAsync(string id, RecordStore store, CancellationToken ct)
    {
        var (task, version) = await store.RoutedAsync<FhirTask>(id, "task", ct);
        return OpenTasks.IsWork(task) ? (task, version)
            : throw new RefusedException(Refusal.NotFound, OperationOutcome.IssueType.NotFound, $"Task '{id}' is nothing that anybody has to do; list what is with /api/tasks?person=.", "id");
    }
}
