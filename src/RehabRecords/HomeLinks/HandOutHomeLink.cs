using System.Text.Json;
using Hl7.Fhir.Model;
using RehabRecords.Access;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.Host;
using RehabRecords.People;
using RehabRecords.Trade;
using FhirTask = Hl7.Fhir.Model.Task;
using Schedule = RehabRecords.Clinical.Schedule;

namespace RehabRecords.HomeLinks;

/// <summary>What is answered to a new link.</summary>
/// <param name="Address">Where the recording page is. Told this once: a repeat of the request answers null here, and then a new link is needed.</param>
/// <param name="Link">The link as it stands in the list from now on.</param>
public sealed record HomeLinkAnswer(string? Address, HomeLinkView Link);

/// <summary>Hands out links for reporting from home, and takes them back.</summary>
public sealed class HandOutHomeLink(RecordStore store, Recording recording, Calling calling, Settings settings, TimeProvider clock)
{
    public async Task<IResult> MakeAsync(string programme, Posted<HomeLinkRequest> posted, CancellationToken ct)
    {
        var token = HomeToken.New(calling.Caller.Organisation);
        var made = "";
        var result = (KeptAnswer)await recording.OnceAsync(posted.Key, async (set, cancel) =>
        {
            var (plan, _) = await store.RoutedAsync<CarePlan>(programme, "programme", cancel);
            if (plan.Status is not (RequestStatus.Active or RequestStatus.OnHold))
                throw Missing.Bad("id", $"id is the programme '{programme}', whose status is {plan.StatusElement?.JsonValue}; a link is for a programme that was handed over and is not over. Activate it first, or name another.");
            var now = clock.GetUtcNow();
            var today = Schedule.DayOf(now, HomeLinkTask.ZoneOf(plan, settings));
            HomeLinkTask.RefuseDay(posted.Body.ValidUntil!.Value, today);
            var by = await posted.Body.By!.ReferenceAsync(store, set, cancel);
            var task = set.Create(posted.Body.ToTask(plan, HomeToken.Hash(token), await OwnerAsync(posted.Body, plan, cancel), by, today, now));
            made = task.Id!;
            // What is kept to answer a repeat holds no address: only the hash of the token may stay.
            return new Recorded<HomeLinkAnswer>(StatusCodes.Status201Created, $"/api/programmes/{programme}/home-links", new HomeLinkAnswer(null, task.ToView(today)));
        }, ct, Clinician.Tries);
        var answer = JsonSerializer.Deserialize<HomeLinkAnswer>(result.Answer.Body.Span, TradeJson.Options)!;
        return answer.Link.Id != made ? result : new KeptAnswer(result.Answer with
        {
            Body = JsonSerializer.SerializeToUtf8Bytes(answer with { Address = $"{settings.PublicUrl}/home/{token}" }, TradeJson.Options),
        });
    }

    public Task<IResult> RevokeAsync(string id, Posted<HomeLinkRevocationRequest> posted, CancellationToken ct) => recording.OnceAsync(posted.Key, async (set, cancel) =>
    {
        var (task, version) = await store.RoutedAsync<FhirTask>(id, "link", cancel);
        if (!task.IsHomeLink())
            throw new RefusedException(Refusal.NotFound, OperationOutcome.IssueType.NotFound, $"There is no link '{Rules.Shown(id)}'; check the id.", "id");
        if (task.Status != FhirTask.TaskStatus.InProgress)
            throw new RefusedException(Refusal.Conflict, OperationOutcome.IssueType.Conflict, $"The link '{id}' was revoked already.", "id");
        var (by, reason) = (posted.Body.By!, posted.Body.Reason!);
        var now = clock.GetUtcNow();
        (task.Status, task.StatusReason, task.LastModifiedElement) = (FhirTask.TaskStatus.Cancelled, new CodeableConcept { Text = reason }, new FhirDateTime(now));
        task.Text = Readable.Of($"{task.Description}, revoked on {now:d MMMM yyyy} by {by.Words}, because: {reason}");
        set.Update(task, version);
        set.Create(new Provenance
        {
            Target = [new ResourceReference($"Task/{id}/_history/{version + 1}")],
            Recorded = now,
            Activity = new CodeableConcept { Text = "Link for reporting from home revoked" },
            Reason = [new CodeableConcept { Text = reason }],
            Agent = [new Provenance.AgentComponent { Who = await by.ReferenceAsync(store, set, cancel) }],
            Text = Readable.Of($"Link for reporting from home revoked by {by.Words}, because: {reason}"),
        });
        var today = Schedule.DayOf(now, await ZoneAsync(task, cancel));
        return new Recorded<HomeLinkView>(StatusCodes.Status200OK, "", task.ToView(today));
    }, ct, Clinician.Tries);

    public async Task<IReadOnlyList<HomeLinkView>> ListAsync(string programme, CancellationToken ct)
    {
        var (plan, _) = await store.RoutedAsync<CarePlan>(programme, "programme", ct);
        var today = Schedule.DayOf(clock.GetUtcNow(), HomeLinkTask.ZoneOf(plan, settings));
        var tasks = await store.FindAllAsync<FhirTask>($"focus=CarePlan/{plan.Id}", ct);
        return [.. tasks.Where(t => t.IsHomeLink()).Select(t => t.ToView(today)).OrderByDescending(l => l.MadeAt).ThenBy(l => l.Id, StringComparer.Ordinal)];
    }

    private async Task<string> ZoneAsync(FhirTask task, CancellationToken ct) =>
        await store.GetAsync<CarePlan>(Rules.Bare(task.Focus?.Reference ?? "", "CarePlan"), ct) is { } plan ? HomeLinkTask.ZoneOf(plan.Resource, settings) : settings.TimeZone;

    private async Task<ResourceReference> OwnerAsync(HomeLinkRequest request, CarePlan plan, CancellationToken ct)
    {
        if (request.For == "patient")
            return new ResourceReference(plan.Subject.Reference) { Type = "Patient" };
        return await store.CarerOfAsync(Rules.Bare(plan.Subject.Reference!, "Patient"), ct) is { } carer
            ? new ResourceReference($"RelatedPerson/{carer.Id}", carer.Name.FirstOrDefault()?.Text) { Type = "RelatedPerson" }
            : new ResourceReference { Type = "RelatedPerson", Display = "carer, name not given" };
    }
}
