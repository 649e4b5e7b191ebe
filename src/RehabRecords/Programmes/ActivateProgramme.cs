using System.ComponentModel;
using System.ComponentModel.DataAnnotations;
using FluentValidation;
using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.Terms;
using RehabRecords.Trade;

namespace RehabRecords.Programmes;

/// <summary>A clinician hands a draft programme over.</summary>
public sealed record ActivationRequest
{
    [Required, Description("The clinician who hands it over.")]
    public Clinician? By { get; init; }

    [Description("What the draft does not say yet; it is added to it.")]
    public ReportingRequest? Reporting { get; init; }
}

internal sealed class ActivationRules : AbstractValidator<ActivationRequest>
{
    public ActivationRules()
    {
        RuleFor(a => a.By).Needed("the clinician who hands the programme over, with name and role");
        RuleFor(a => a.By).SetValidator(new ClinicianRules()!);
        RuleFor(a => a.Reporting).SetValidator(new ReportingRules()!);
    }
}

/// <summary>From a draft to an active programme: CarePlan and prescriptions in one transaction, and who did it beside them.</summary>
public sealed class ActivateProgramme(RecordStore store, Recording recording, TimeProvider clock, Host.Settings settings)
{
    public Task<IResult> RunAsync(string id, Posted<ActivationRequest> posted, CancellationToken ct) => recording.OnceAsync(posted.Key, async (set, cancel) =>
    {
        var (programme, version) = await store.RoutedAsync<CarePlan>(id, "programme", cancel);
        if (programme.Status != RequestStatus.Draft)
            throw new RefusedException(Refusal.Conflict, OperationOutcome.IssueType.Conflict,
                $"Programme '{id}' is {programme.StatusElement?.JsonValue}, not draft; only a draft can be activated. Read /api/programmes/{id} for what it is.", "id");
        if (posted.Body.Reporting is { } more)
        {
            var told = more.Over(ReportingRequest.From(programme));
            programme.RemoveExtension(Extensions.Reporting);
            programme.Extension.AddRange(told.ToExtensions());
        }

        var requests = new List<ServiceRequest>();
        foreach (var activity in programme.Activity)
            if (await store.GetAsync<ServiceRequest>(Rules.Bare(activity.Reference?.Reference ?? "", "ServiceRequest"), cancel) is var (request, of))
            {
                request.Status = RequestStatus.Active;
                requests.Add(set.Update(request, of));
            }

        settings.Reporting.Refuse(programme, requests);
        var goals = await ProgrammeEndpoints.GoalsAsync(programme, store, cancel);
        programme.Status = await Briefings.Brief.IsAwaitedAsync(store, id, cancel) ? RequestStatus.OnHold : RequestStatus.Active;
        programme.Text = ProgrammeWords.Of(programme, requests, goals);
        set.Update(programme, version);
        set.Create(await HandedOverAsync(programme, version + 1, posted.Body.By!, set, cancel));
        return new Recorded<ProgrammeAnswer>(StatusCodes.Status200OK, "", ProgrammeAnswer.Of(programme, requests, goals));
    }, ct, Clinician.Tries);

    private async Task<Provenance> HandedOverAsync(CarePlan programme, int version, Clinician by, WriteSet set, CancellationToken ct) => new()
    {
        Target = [new ResourceReference($"CarePlan/{programme.Id}/_history/{version}")],
        Recorded = clock.GetUtcNow(),
        Activity = new CodeableConcept { Text = "Draft programme handed over" },
        Agent = [new Provenance.AgentComponent { Who = await by.ReferenceAsync(store, set, ct) }],
        Text = Readable.Of($"Draft programme handed over by {by.Words}."),
    };
}
