using Hl7.Fhir.Model;
using RehabRecords.Exchange;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Store;
using RehabRecords.Notes;
using RehabRecords.Pages.Desk;
using RehabRecords.Programmes;
using RehabRecords.Progress;
using RehabRecords.Terms;
using RehabRecords.Trade;
using FhirTask = Hl7.Fhir.Model.Task;

namespace RehabRecords.Pages.Conflicts;

/// <summary>Reads both sides of a conflict as they are now. A programme is compared as a whole, since it is chosen as a whole.</summary>
internal sealed class ConflictReads(RecordStore store, TakeIn takeIn)
{
    /// <exception cref="Fhir.RefusedException">There is no such conflict.</exception>
    public async Task<ConflictView> ReadAsync(string id, CancellationToken ct)
    {
        var conflict = await takeIn.LookAsync(id, ct);
        var (task, steps) = (conflict.Task, conflict.Steps);
        var person = task.For.IdOf("Patient")!;
        var patient = (await store.GetAsync<Patient>(person, ct))?.Resource;
        var view = new ConflictView(id, person, patient is null ? "the person" : DeskReads.NameOf(patient), TeamOf(conflict.Incoming.Sender),
            Addresses.Instant(task.AuthoredOn), $"Binary/{ConflictTask.OriginalOf(task)}");
        if (steps.Count == 0)
            return view with { Decided = [.. Narratives.Lines(task).TakeLast(1)] };
        var things = new List<DifferingThing>();
        var inConflict = steps.Where(s => s.Fate == Fate.Conflict).ToList();
        var ofProgramme = inConflict.Exists(s => WhatWaits.IsOfTheProgramme(s.Entry.Resource)) ? steps.Where(s => s.Entry.Resource is CarePlan && s.Twin.Here is not null).ToList() : [];
        foreach (var step in ofProgramme)
            things.AddRange(ProgrammeSide.Differences(await OursAsync(step, ct), Theirs(step, steps), await OriginAsync(step, ct)));
        things.AddRange(inConflict.Where(s => s.Entry.Resource is not (CarePlan or ServiceRequest) || ofProgramme.Count == 0).Select(PlainParts.Of));
        var known = steps.Where(s => s.Entry.Resource is FhirTask).Select(s => s.Twin.Id).ToHashSet(StringComparer.Ordinal);
        var decided = new List<FhirTask>();
        foreach (var step in ofProgramme)
            decided.AddRange((await store.FindAllAsync<FhirTask>($"based-on=CarePlan/{step.Twin.Id}", ct)).Where(t => IsDecision(t) && !known.Contains(t.Id!)));
        return view with
        {
            State = conflict.State,
            Things = things,
            DecidedHere = [.. decided.OrderBy(t => t.AuthoredOn, StringComparer.Ordinal).Select(Line)],
            DecidedThere = [.. steps.Where(s => s.Twin.Here is null && s.Said is FhirTask t && IsDecision(t)).Select(s => (FhirTask)s.Said!).OrderBy(t => t.AuthoredOn, StringComparer.Ordinal).Select(Line)],
            Waiting = Wording.List(steps.Where(s => s.Fate == Fate.Waits).GroupBy(s => s.Entry.Type).OrderBy(g => g.Key, StringComparer.Ordinal).Select(g => PlainParts.Kind(g.Key, g.Count()))) is { Length: > 0 } waiting ? waiting : null,
        };
    }

    /// <summary>The place alone: the way to the record behind it says nothing to a person.</summary>
    public static string TeamOf(string sender) => Uri.TryCreate(sender, UriKind.Absolute, out var address) && address.Host.Length > 0 ? $"the team at {address.Host}" : "another team";

    private async Task<ProgrammeSide> OursAsync(Step plan, CancellationToken ct)
    {
        var here = (CarePlan)plan.Twin.Here!;
        return ProgrammeSide.Of(here, await store.FindAllAsync<ServiceRequest>($"based-on=CarePlan/{here.Id}", ct), await ProgrammeEndpoints.GoalsAsync(here, store, ct));
    }

    private static ProgrammeSide Theirs(Step plan, IReadOnlyList<Step> steps)
    {
        var there = (CarePlan)plan.Said!;
        return ProgrammeSide.Of(
            there, steps.Select(s => s.Said).OfType<ServiceRequest>().Where(r => r.BasedOn.Exists(b => b.IdOf("CarePlan") == there.Id)),
            steps.Select(s => s.Said).OfType<Goal>().Where(g => there.Goal.Exists(r => r.IdOf("Goal") == g.Id)));
    }

    /// <summary>The programme as both sides had it last: each part as it was before the programme was changed here.</summary>
    private async Task<ProgrammeSide?> OriginAsync(Step plan, CancellationToken ct)
    {
        if (plan.Common is not CarePlan then)
            return null;
        var history = await store.HistoryAsync("CarePlan", plan.Twin.Id, ct);
        var until = history.Where(v => $"{v.Version - 1}" == then.Meta?.VersionId).Select(v => (DateTimeOffset?)v.LastUpdated).FirstOrDefault() ?? DateTimeOffset.MaxValue;
        var requests = await PartsAsync<ServiceRequest>(then.Activity.Select(a => a.Reference.IdOf("ServiceRequest")), until, ct);
        return ProgrammeSide.Of(then, requests, await PartsAsync<Goal>(then.Goal.Select(g => g.IdOf("Goal")), until, ct));
    }

    private async Task<List<T>> PartsAsync<T>(IEnumerable<string?> ids, DateTimeOffset until, CancellationToken ct)
        where T : Resource, new()
    {
        var (found, type) = (new List<T>(), new T().TypeName);
        foreach (var id in ids.OfType<string>())
        {
            var history = (await store.HistoryAsync(type, id, ct)).Where(v => !v.Deleted).OrderBy(v => v.Version).ToList();
            // Its first version where the clock cannot tell: both were made together then.
            if ((history.LastOrDefault(v => v.LastUpdated < until) ?? history.FirstOrDefault()) is { } version)
                found.Add(ResourceReader.Trusted<T>(version.Json));
        }

        return found;
    }

    private static bool IsDecision(FhirTask task) => task.Code.CodeIn(Systems.Decision) is not null;

    /// <summary>From its elements, never from a narrative that came along.</summary>
    private static string Line(FhirTask task) => string.Join(' ', new[]
    {
        Addresses.Day(task.AuthoredOn) is { } day ? $"{Wording.Date(day)}:" : null, Wording.Sentence(task.Description ?? "something was decided"),
        Addresses.Day(task.ExecutionPeriod?.Start) is { } from ? $"From {Wording.Date(from)}." : null,
        task.Requester?.Display is { } by ? Wording.Sentence($"By {by}") : null, task.ReasonCode?.Text is { } reason ? Wording.Sentence($"Because: {reason}") : null,
    }.OfType<string>());
}
