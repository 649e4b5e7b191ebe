using System.ComponentModel;
using System.ComponentModel.DataAnnotations;
using System.Globalization;
using FluentValidation;
using Hl7.Fhir.Model;
using RehabRecords.Briefings;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.Trade;
using FhirTask = Hl7.Fhir.Model.Task;

namespace RehabRecords.Programmes;

/// <summary>A draft that will not be handed over.</summary>
public sealed record DraftWithdrawalRequest
{
    [Required, Description("The clinician who withdraws it.")]
    public Clinician? By { get; init; }

    [Required, Description("Why it is not handed over.")]
    public string? Reason { get; init; }
}

internal sealed class DraftWithdrawalRules : AbstractValidator<DraftWithdrawalRequest>
{
    public DraftWithdrawalRules()
    {
        RuleFor(w => w.By).Needed("the clinician who withdraws it, with name and role");
        RuleFor(w => w.By).SetValidator(new ClinicianRules()!);
        RuleFor(w => w.Reason).Needed("why it is not handed over");
        RuleFor(w => w.Reason).Text(Rules.LongText);
    }
}

/// <summary>
/// Takes a draft back, with its prescriptions, goals and the briefing that was waited for. It never held for anybody, so it is
/// kept as entered in error, with who took it back and why.
/// </summary>
public sealed class WithdrawDraft(RecordStore store, Recording recording, TimeProvider clock)
{
    public Task<IResult> RunAsync(string id, Posted<DraftWithdrawalRequest> posted, CancellationToken ct) => recording.OnceAsync(posted.Key, async (set, cancel) =>
    {
        var (programme, version) = await store.RoutedAsync<CarePlan>(id, "programme", cancel);
        if (programme.Status != RequestStatus.Draft)
            throw new RefusedException(Refusal.Conflict, OperationOutcome.IssueType.Conflict,
                $"Programme '{id}' is {programme.StatusElement?.JsonValue}, not draft; only a draft is withdrawn. What is in force ends by its last day or with a discharge.", "id");
        var (by, reason, now) = (posted.Body.By!, posted.Body.Reason!.Trim(), clock.GetUtcNow());
        foreach (var request in (await store.FindAllAsync<ServiceRequest>($"based-on=CarePlan/{id}", cancel)).Where(r => r.Status == RequestStatus.Draft))
        {
            request.Status = RequestStatus.EnteredInError;
            set.Update(request, VersionOf(request));
        }

        foreach (var goal in await ProgrammeEndpoints.GoalsAsync(programme, store, cancel))
        {
            goal.LifecycleStatus = Goal.GoalLifecycleStatus.EnteredInError;
            set.Update(goal, VersionOf(goal));
        }

        foreach (var task in (await store.FindAllAsync<FhirTask>($"based-on=CarePlan/{id}", cancel)).Where(t => t.IsOpen()))
        {
            task.Status = FhirTask.TaskStatus.Cancelled;
            task.LastModifiedElement = new FhirDateTime(now);
            task.Text = Readable.Of("Not needed any more: the draft programme was withdrawn.");
            set.Update(task, VersionOf(task));
        }

        programme.Status = RequestStatus.EnteredInError;
        var withdrawn = $"Draft programme withdrawn by {by.Words}, because: {reason}";
        programme.Text = Readable.Of(programme.Title, withdrawn);
        set.Update(programme, version);
        set.Create(new Provenance
        {
            Target = [new ResourceReference($"CarePlan/{id}/_history/{version + 1}")],
            Recorded = now,
            Activity = new CodeableConcept { Text = "Draft programme withdrawn" },
            Reason = [new CodeableConcept { Text = reason }],
            Agent = [new Provenance.AgentComponent { Who = await by.ReferenceAsync(store, set, cancel) }],
            Text = Readable.Of(withdrawn),
        });
        return new Recorded<ProgrammeAnswer>(StatusCodes.Status200OK, "", ProgrammeAnswer.Of(programme, [], []));
    }, ct, Clinician.Tries);

    private static int VersionOf(Resource resource) => int.Parse(resource.Meta!.VersionId!, CultureInfo.InvariantCulture);
}
