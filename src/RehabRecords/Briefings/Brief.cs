using System.Globalization;
using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.Programmes;
using RehabRecords.Progress;
using RehabRecords.Terms;
using RehabRecords.Trade;
using FhirTask = Hl7.Fhir.Model.Task;

namespace RehabRecords.Briefings;

/// <summary>Briefs a carer and takes the acknowledgement; a programme that waits for it begins with it.</summary>
public sealed class Brief(RecordStore store, Recording recording, TimeProvider clock)
{
    private const int Tries = 5;

    public Task<IResult> GiveAsync(string id, Posted<BriefingRequest> posted, CancellationToken ct) => recording.OnceAsync(posted.Key, async (set, cancel) =>
    {
        var (request, now) = (posted.Body, clock.GetUtcNow());
        var (programme, version, briefings, tasks) = await OpenAsync(id, cancel);
        var carer = await CarerAsync(request.Carer, programme, cancel);
        var by = await request.By!.ReferenceAsync(store, set, cancel);
        var holds = request.Required && programme.Status == RequestStatus.Active;
        var briefing = set.Create(request.ToCommunication(programme, $"{(holds ? version + 1 : version)}", carer, by, now));
        foreach (var open in tasks.Where(t => t.IsOpen()))
        {
            // The briefing that was asked for is given; one that was not acknowledged is replaced by this one.
            open.Status = open.Is(WorkItem.Briefing) ? FhirTask.TaskStatus.Completed : FhirTask.TaskStatus.Cancelled;
            open.LastModifiedElement = new FhirDateTime(now);
            open.Text = Readable.Of(open.Is(WorkItem.Briefing) ? $"Done on {now:d MMMM yyyy}: the carer was briefed." : $"Replaced by the briefing of {now:d MMMM yyyy}.");
            set.Update(open, VersionOf(open));
        }

        tasks.Add(set.Create(BriefingMapping.ToAcknowledgement(briefing, programme, carer, now)));
        if (holds)
            await ChangeAsync(programme, version, RequestStatus.OnHold, set, cancel);
        return new Recorded<BriefingAnswer>(StatusCodes.Status201Created, $"/api/programmes/{id}/briefing", BriefingMapping.ToAnswer(programme, [.. briefings, briefing], tasks));
    }, ct, Tries);

    public Task<IResult> AcknowledgeAsync(string id, Posted<AcknowledgementRequest> posted, CancellationToken ct) => recording.OnceAsync(posted.Key, async (set, cancel) =>
    {
        var now = clock.GetUtcNow();
        var (programme, version, briefings, tasks) = await OpenAsync(id, cancel);
        var task = tasks.LastOrDefault(t => t.Is(WorkItem.BriefingAcknowledgement) && t.IsOpen())
            ?? throw new RefusedException(Refusal.Conflict, OperationOutcome.IssueType.Conflict,
                $"Programme '{id}' has no briefing that waits to be acknowledged; record the briefing first: POST /api/programmes/{id}/briefing.", "id");
        var witness = posted.Body.Witness is { } seen ? await seen.ReferenceAsync(store, set, cancel) : null;
        task.Answer(posted.Body, witness, now);
        set.Update(task, VersionOf(task));
        if (posted.Body.Understood == true && programme.Status == RequestStatus.OnHold)
            await ChangeAsync(programme, version, RequestStatus.Active, set, cancel);
        return new Recorded<BriefingAnswer>(StatusCodes.Status200OK, "", BriefingMapping.ToAnswer(programme, briefings, tasks));
    }, ct, Tries);

    public async Task<BriefingAnswer> ReadAsync(string id, CancellationToken ct)
    {
        var (programme, _, briefings, tasks) = await OpenAsync(id, ct);
        return BriefingMapping.ToAnswer(programme, briefings, tasks);
    }

    /// <summary>Whether a draft that is handed over has to wait for a briefing.</summary>
    internal static async Task<bool> IsAwaitedAsync(RecordStore store, string programme, CancellationToken ct) =>
        (await TasksAsync(store, programme, ct)).Exists(t => t.IsOpen());

    /// <summary>Whether a briefing was asked for or given already.</summary>
    internal static async Task<bool> IsAskedForAsync(RecordStore store, string programme, CancellationToken ct) => (await TasksAsync(store, programme, ct)).Count > 0;

    private async Task<(CarePlan Programme, int Version, List<Communication> Briefings, List<FhirTask> Tasks)> OpenAsync(string id, CancellationToken ct)
    {
        var (programme, version) = await store.RoutedAsync<CarePlan>(id, "programme", ct);
        var briefings = (await store.FindAllAsync<Communication>($"subject={programme.Subject.Reference}", ct)).Where(c => c.About.Exists(a => a.IdOf("CarePlan") == id));
        return (programme, version, [.. briefings], await TasksAsync(store, id, ct));
    }

    private static async Task<List<FhirTask>> TasksAsync(RecordStore store, string programme, CancellationToken ct) =>
        [.. (await store.FindAllAsync<FhirTask>($"based-on=CarePlan/{programme}", ct)).Where(t => t.Is(WorkItem.Briefing) || t.Is(WorkItem.BriefingAcknowledgement))
            .OrderBy(t => t.AuthoredOn, StringComparer.Ordinal).ThenBy(t => t.Id, StringComparer.Ordinal)];

    private async Task<RelatedPerson> CarerAsync(string? named, CarePlan programme, CancellationToken ct)
    {
        var carers = await store.FindAllAsync<RelatedPerson>($"patient={programme.Subject.Reference}", ct);
        if (named is null)
            return carers switch
            {
                [var one] => one,
                [] => throw Missing.Bad("carer", "carer is left out, and the person has no carer recorded; record the carer first (a RelatedPerson of the person)."),
                _ => throw Missing.Bad("carer", $"carer is left out, and the person has {carers.Count} carers; name one of: {string.Join(", ", carers.Select(c => c.Id))}."),
            };
        return carers.FirstOrDefault(c => c.Id == Rules.Bare(named, "RelatedPerson")) ?? throw Missing.Unknown("carer", named, "carer of this person");
    }

    private async System.Threading.Tasks.Task ChangeAsync(CarePlan programme, int version, RequestStatus status, WriteSet set, CancellationToken ct)
    {
        programme.Status = status;
        var requests = await store.FindAllAsync<ServiceRequest>($"based-on=CarePlan/{programme.Id}", ct);
        programme.Text = ProgrammeWords.Of(programme, [.. ProgrammeEndpoints.InOrderOfPlan(programme, requests)], await ProgrammeEndpoints.GoalsAsync(programme, store, ct));
        set.Update(programme, version);
    }

    private static int VersionOf(Resource resource) => int.Parse(resource.Meta!.VersionId!, CultureInfo.InvariantCulture);
}
