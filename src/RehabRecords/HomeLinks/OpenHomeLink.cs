using Hl7.Fhir.Model;
using RehabRecords.Fhir.Store;
using RehabRecords.Host;
using RehabRecords.Terms;
using RehabRecords.Trade;
using FhirTask = Hl7.Fhir.Model.Task;
using Schedule = RehabRecords.Clinical.Schedule;

namespace RehabRecords.HomeLinks;

/// <summary>A link that works, and the programme it is for.</summary>
internal sealed record OpenedLink(FhirTask Task, CarePlan Programme, string Zone, DateOnly Today)
{
    public string Person => Rules.Bare(Programme.Subject.Reference!, "Patient");

    /// <summary>patient or carer.</summary>
    public string For => Task.Code.CodeIn(Systems.HomeLink)!;
}

/// <summary>The one way from a token to a programme.</summary>
internal sealed class OpenHomeLink(RecordStore store, Settings settings, TimeProvider clock)
{
    /// <summary>Null for a token that is unknown, expired or revoked, or whose programme was withdrawn: whoever asks is not told which.</summary>
    public async Task<OpenedLink?> Async(string token, CancellationToken ct)
    {
        if (await store.HolderOfAsync("Task", HomeLinkTask.IdentifierSystem, HomeToken.Hash(token), ct) is not { } id
            || await store.GetAsync<FhirTask>(id, ct) is not { Resource: { } task } || !task.IsHomeLink()
            || await store.GetAsync<CarePlan>(Rules.Bare(task.Focus?.Reference ?? "", "CarePlan"), ct) is not { Resource: { } programme }
            // After a discharge what was practised by then may still be told.
            || programme.Status is not (RequestStatus.Active or RequestStatus.OnHold or RequestStatus.Completed))
            return null;
        var zone = HomeLinkTask.ZoneOf(programme, settings);
        var today = Schedule.DayOf(clock.GetUtcNow(), zone);
        return task.StateOn(today) == HomeLinkTask.Working ? new OpenedLink(task, programme, zone, today) : null;
    }
}
