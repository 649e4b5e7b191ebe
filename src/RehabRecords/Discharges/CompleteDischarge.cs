using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.Notes;
using RehabRecords.Programmes;
using RehabRecords.Progress;
using RehabRecords.Trade;
using Canonical = RehabRecords.Terms.Canonical;
using FhirTask = Hl7.Fhir.Model.Task;

namespace RehabRecords.Discharges;

/// <summary>
/// Ends an episode whose summary is signed: the episode is finished, its programmes and prescriptions are completed as of the
/// day of discharge, and each action becomes a task of its owner; all of it in one transaction, and everything that ended is told.
/// </summary>
public sealed class CompleteDischarge(RecordStore store, Recording recording, DischargeReads reads, UpToDate upToDate, TimeProvider clock)
{
    /// <summary>Sessions may be posted for the same programme meanwhile, which move the draft that is redone with it.</summary>
    private const int Tries = 20;

    public Task<IResult> RunAsync(string id, Posted<CompletionRequest> posted, CancellationToken ct) => recording.OnceAsync(posted.Key, async (set, cancel) =>
    {
        var (summary, _) = await reads.SummaryAsync(id, cancel);
        var record = await reads.RecordAsync(summary, cancel);
        RefuseUnlessSigned(summary, record);
        var open = await Blockers.OfAsync(store, record.Patient.Id!, [.. record.Programmes.Select(p => p.Record)], record.On, cancel);
        var known = (record.Form.Stated.Overrides ?? []).Where(o => open.Any(b => b.Blocker == o.Blocker));
        var since = posted.Body.Overrides ?? [];
        Blockers.RefuseUnknown(open, since);
        Blockers.Refuse(open, [.. known, .. since]);

        var by = await posted.Body.By!.ReferenceAsync(store, set, cancel);
        var ended = new List<EndedView>();
        foreach (var programme in record.Programmes)
            await EndAsync(set, programme, record.On, ended, cancel);
        record.Episode.Finish(set, record.On);
        var tasks = Tasks(set, record, summary);
        set.Create(Told(record, summary, ended, by, since));
        // A note that stays unsigned with a reason must still say what the programme has become.
        foreach (var programme in record.Programmes)
            await upToDate.AddToOpenAsync(set, programme.Record, cancel);
        return new Recorded<CompletionView>(StatusCodes.Status200OK, "",
            new CompletionView(id, $"/api/discharges/{id}", "completed", $"EpisodeOfCare/{record.Episode.Resource.Id}", Timings.Iso(record.On), ended, tasks));
    }, ct, Tries);

    private static void RefuseUnlessSigned(Composition summary, DischargeRecord record)
    {
        if (record.Episode.Resource.Status == EpisodeOfCare.EpisodeOfCareStatus.Finished)
            throw new RefusedException(Refusal.Conflict, OperationOutcome.IssueType.Conflict,
                $"The discharge '{summary.Id}' was completed as of {record.Episode.Resource.Period?.End} already; read /api/discharges/{summary.Id}.", "id");
        if (summary.Status is not (CompositionStatus.Final or CompositionStatus.Amended))
            throw new RefusedException(Refusal.Conflict, OperationOutcome.IssueType.Conflict,
                $"Composition/{summary.Id}, the discharge summary, is {summary.StatusElement?.JsonValue} and not signed; a registered clinician reads and signs it first (/api/notes/{summary.Id}).", $"Composition/{summary.Id}");
    }

    private async System.Threading.Tasks.Task EndAsync(WriteSet set, ProgrammeCourse programme, DateOnly on, List<EndedView> ended, CancellationToken ct)
    {
        var plan = (CarePlan)programme.Record.Resources.OfType<CarePlan>().Single(p => p.Id == programme.Outline.Id).DeepCopy();
        if (plan.Status is not (RequestStatus.Active or RequestStatus.OnHold))
            return;
        var requests = ProgrammeEndpoints.InOrderOfPlan(plan, programme.Record.Resources.OfType<ServiceRequest>().Select(r => (ServiceRequest)r.DeepCopy())).ToList();
        foreach (var request in requests.Where(r => r.Status is RequestStatus.Active or RequestStatus.OnHold))
        {
            var bounds = Timings.Bounds(request);
            if (Addresses.Day(bounds?.Start) > on)
                request.Status = RequestStatus.Revoked;
            else
            {
                request.Status = RequestStatus.Completed;
                if (bounds is not null && (Addresses.Day(bounds.End) is not { } last || last > on))
                    bounds.End = Timings.Iso(on);
            }
            set.Update(request, VersionOf(request));
            ended.Add(new EndedView($"ServiceRequest/{request.Id}", request.Code?.Text, request.Status == RequestStatus.Completed ? "completed" : "revoked"));
        }
        plan.Status = RequestStatus.Completed;
        if (Addresses.Day(plan.Period?.End) is not { } end || end > on)
            plan.Period!.End = Timings.Iso(on);
        plan.Text = ProgrammeWords.Of(plan, requests, await ProgrammeEndpoints.GoalsAsync(plan, store, ct));
        set.Update(plan, VersionOf(plan));
        ended.Insert(0, new EndedView($"CarePlan/{plan.Id}", plan.Title, "completed"));
    }

    /// <summary>Each action as a task, so that whoever looks for open work finds it.</summary>
    private List<string> Tasks(WriteSet set, DischargeRecord record, Composition summary) =>
        [.. (record.Form.Stated.Actions ?? []).Select((action, i) =>
        {
            var task = set.Create(new FhirTask
            {
                Identifier = [new Identifier(Canonical.Identifier("discharge-action"), $"{record.Episode.Resource.Id}/{i + 1}")],
                Status = FhirTask.TaskStatus.Requested,
                Intent = FhirTask.TaskIntent.Order,
                Code = new CodeableConcept { Text = "Action requested at discharge" },
                Description = action.Text,
                For = new ResourceReference($"Patient/{record.Patient.Id}"),
                AuthoredOnElement = new FhirDateTime(clock.GetUtcNow()),
                Owner = new ResourceReference { Display = action.Owner },
                ReasonReference = new ResourceReference($"Composition/{summary.Id}/_history/{summary.VersionId}", summary.Title),
                Restriction = action.Due is { } due ? new FhirTask.RestrictionComponent { Period = new Period { End = Timings.Iso(due) } } : null,
                Text = Readable.Of($"Requested at discharge: {action.Text}", $"Owner: {action.Owner}", action.Due is { } by ? $"By {by:d MMMM yyyy}." : null),
            });
            return $"Task/{task.Id}";
        })];

    /// <summary>Who completed it, on the strength of which signed summary, and what was left open with which reason.</summary>
    private Provenance Told(DischargeRecord record, Composition summary, List<EndedView> ended, ResourceReference by, IReadOnlyList<OverrideRequest> since) => new()
    {
        Target = [new ResourceReference($"EpisodeOfCare/{record.Episode.Resource.Id}/_history/{record.Episode.Version + 1}"), .. ended.Select(e => new ResourceReference(e.Resource))],
        Recorded = clock.GetUtcNow(),
        Activity = new CodeableConcept { Text = "Discharge completed" },
        Agent = [new Provenance.AgentComponent { Who = by }],
        Entity =
        [
            new Provenance.EntityComponent
            {
                Role = Provenance.ProvenanceEntityRole.Source,
                What = new ResourceReference($"Composition/{summary.Id}/_history/{summary.VersionId}", summary.Title),
            },
        ],
        Text = Readable.Of([$"Discharge completed by {by.Display} as of {record.On:d MMMM yyyy}.", .. ended.Select(e => $"{e.Title ?? e.Resource}: {e.Status}."), .. since.Select(o => $"Left open: {o.Blocker}. Reason: {o.Reason}")]),
    };

    private static int VersionOf(Resource resource) => int.Parse(resource.Meta!.VersionId!, System.Globalization.CultureInfo.InvariantCulture);
}
