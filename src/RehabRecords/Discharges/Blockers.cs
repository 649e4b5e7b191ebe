using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.Flags;
using RehabRecords.Progress;
using RehabRecords.Tasks;
using RehabRecords.Terms;

namespace RehabRecords.Discharges;

/// <summary>Something unfinished that stands in the way of a discharge.</summary>
/// <param name="Kind">red-flag, unsigned-note, open-task, draft-programme or prescription-to-come.</param>
/// <param name="Blocker">Its address, by which it is overridden.</param>
/// <param name="What">What it is, in words.</param>
/// <param name="Remedy">How it is cleared out of the way.</param>
/// <param name="CanBeOverridden">Whether a clinician may leave it open with a reason. A red flag never.</param>
public sealed record BlockerView(string Kind, string Blocker, string What, string Remedy, bool CanBeOverridden)
{
    /// <summary>The programme by which it is settled, for a page to lead there; not part of the answer, whose remedy names it.</summary>
    internal string? Programme { get; init; }
}

/// <summary>
/// What must be settled before somebody is discharged. An open red flag stands in the way whatever anybody says; the rest
/// may be left open with a reason, which the summary then tells.
/// </summary>
internal static class Blockers
{
    /// <param name="lastDay">The day of discharge.</param>
    public static async Task<IReadOnlyList<BlockerView>> OfAsync(RecordStore store, string person, IReadOnlyList<ProgrammeRecord> programmes, DateOnly lastDay, CancellationToken ct)
    {
        var flags = from flag in await store.FindAllAsync<Flag>($"subject=Patient/{person}", ct)
                    where flag.IsRedFlag() && flag.Status == Flag.FlagStatus.Active
                    orderby flag.Period?.Start, flag.Id
                    select new BlockerView("red-flag", $"Flag/{flag.Id}", $"red flag “{flag.Code?.Text}”, open since {flag.Period?.Start}",
                        $"a registered clinician clears it with what was examined or decided (POST /api/flags/{flag.Id}/clearance)", false);
        var notes = from note in await store.FindAllAsync<Composition>($"subject=Patient/{person}&status=preliminary", ct)
                    // The summary of this very discharge waits for its signature and stands in nobody's way.
                    where note.Type.CodeIn(Systems.Loinc) != Loinc.DischargeSummary
                    orderby note.Event.FirstOrDefault()?.Period?.End, note.Id
                    select new BlockerView("unsigned-note", $"Composition/{note.Id}", $"“{note.Title}” up to {note.Event.FirstOrDefault()?.Period?.End}, not signed",
                        $"read it and sign it (/api/notes/{note.Id})", true);
        var tasks = from task in await OpenTasks.OfAsync(store, person, ct)
                    select new BlockerView("open-task", $"Task/{task.Id}", $"task “{OpenTasks.WhatOf(task)}”, {task.StatusElement?.JsonValue}{(task.Owner?.Display is { } owner ? $", with {owner}" : "")}",
                        $"have it done or cancel it (POST /api/tasks/{task.Id}/outcome)", true);
        var drafts = from plan in await store.FindAllAsync<CarePlan>($"subject=Patient/{person}", ct)
                     where plan.Status == RequestStatus.Draft
                     orderby plan.Id
                     select new BlockerView("draft-programme", $"CarePlan/{plan.Id}", $"programme “{plan.Title}”, a draft that was never handed over",
                         $"hand it over (POST /api/programmes/{plan.Id}/activation), or withdraw it (PUT /fhir/CarePlan/{plan.Id} with the status revoked)", true);
        var toCome = from programme in programmes
                     from request in programme.Resources.OfType<ServiceRequest>()
                     where request.Status == RequestStatus.Active && request.BasedOn.Any(b => b.IdOf("CarePlan") == programme.Programme.Id)
                         && Addresses.Day(Programmes.Timings.Bounds(request)?.Start) > lastDay
                     orderby request.Id
                     select new BlockerView("prescription-to-come", $"ServiceRequest/{request.Id}", $"prescription “{request.Code?.Text}”, which begins on {Programmes.Timings.Bounds(request)?.Start}, after the discharge, and would never hold",
                         $"take it out by a revision (POST /api/programmes/{programme.Programme.Id}/revisions)", true)
                     { Programme = programme.Programme.Id };
        return [.. flags, .. notes, .. tasks, .. drafts, .. toCome];
    }

    /// <summary>An override of something that is not there was meant for something else.</summary>
    public static void RefuseUnknown(IReadOnlyList<BlockerView> blockers, IReadOnlyList<OverrideRequest> overrides)
    {
        if (overrides.Select((o, i) => (o, i)).Where(o => blockers.All(b => b.Blocker != o.o.Blocker)).ToList() is { Count: > 0 } unknown)
            throw new RefusedException(Refusal.Invalid, [.. unknown.Select(o => Issue.Error(OperationOutcome.IssueType.BusinessRule,
                $"overrides[{o.i}].blocker is '{Trade.Rules.Shown(o.o.Blocker!)}', which does not stand in the way; name one of: {Known(blockers)}, or leave it out.", $"overrides[{o.i}].blocker"))]);
    }

    /// <summary>Refuses when anything is left that the clinician has not overridden or may not override; tells everything at once.</summary>
    public static void Refuse(IReadOnlyList<BlockerView> blockers, IReadOnlyList<OverrideRequest> overrides)
    {
        var said = overrides.Select(o => o.Blocker).ToHashSet(StringComparer.Ordinal);
        var open = blockers.Where(b => !b.CanBeOverridden || !said.Contains(b.Blocker)).ToList();
        if (open.Count > 0)
            throw new RefusedException(Refusal.Conflict, [.. open.Select(b => Issue.Error(OperationOutcome.IssueType.Conflict,
                $"{b.Blocker} stands in the way of the discharge: {b.What}; {b.Remedy}"
                + (b.CanBeOverridden ? $", or leave it open with a reason (overrides: [{{ \"blocker\": \"{b.Blocker}\", \"reason\": … }}])." : ". It cannot be overridden."), b.Blocker))]);
    }

    private static string Known(IReadOnlyList<BlockerView> blockers) =>
        blockers.Where(b => b.CanBeOverridden).Select(b => b.Blocker).ToList() is { Count: > 0 } some ? string.Join(", ", some) : "none that may be overridden";
}
