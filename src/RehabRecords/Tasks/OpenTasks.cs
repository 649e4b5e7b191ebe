using Hl7.Fhir.Model;
using RehabRecords.Briefings;
using RehabRecords.Exchange;
using RehabRecords.Fhir.Store;
using RehabRecords.Terms;
using FhirTask = Hl7.Fhir.Model.Task;

namespace RehabRecords.Tasks;

/// <summary>Something that somebody is to do for a person.</summary>
/// <param name="Task">Its address.</param>
/// <param name="What">What is to be done, or was.</param>
/// <param name="Status">As in FHIR: requested, completed, cancelled …</param>
/// <param name="Owner">Who does it, in words; null where nobody is named.</param>
/// <param name="Due">The last day, if one was set.</param>
/// <param name="AskedBy">Who asked for it.</param>
/// <param name="SettledBy">briefing or conflict where it ends by that and not by itself; null where its outcome is told.</param>
/// <param name="About">Address of what it is about.</param>
/// <param name="Remarks">What was noted of it, and what came of it.</param>
public sealed record TaskAnswer(
    string Id, string Task, string? Person, string What, string? Status, bool Open, string? Owner, string? Due, string? Since, string? AskedBy, string? SettledBy, string? About, IReadOnlyList<string> Remarks);

/// <summary>What is to be done for a person and by whom: asked for at a discharge, by another system, or by the service itself.</summary>
internal static class OpenTasks
{
    public const string Briefing = "briefing", Conflict = "conflict";

    private static readonly FhirTask.TaskStatus?[] Closed =
        [FhirTask.TaskStatus.Completed, FhirTask.TaskStatus.Cancelled, FhirTask.TaskStatus.Failed, FhirTask.TaskStatus.Rejected, FhirTask.TaskStatus.EnteredInError];

    /// <summary>A link for reporting from home ends by itself, and a decision is made: neither is anything anybody has to do.</summary>
    public static bool IsWork(FhirTask task) => task.Code.CodeIn(Systems.HomeLink) is null && task.Code.CodeIn(Systems.Decision) is null;

    public static bool IsToDo(FhirTask task) => IsWork(task) && !Closed.Contains(task.Status);

    public static string WhatOf(FhirTask task) => task.Description ?? task.Code?.Text ?? "without a description";

    /// <summary>The oldest first.</summary>
    public static async Task<IReadOnlyList<FhirTask>> OfAsync(RecordStore store, string person, CancellationToken ct) =>
        [.. (await store.FindAllAsync<FhirTask>($"patient=Patient/{person}", ct)).Where(IsToDo).OrderBy(t => t.AuthoredOn, StringComparer.Ordinal).ThenBy(t => t.Id, StringComparer.Ordinal)];

    public static TaskAnswer ToAnswer(this FhirTask task) => new(
        task.Id!, $"Task/{task.Id}", task.For?.Reference, WhatOf(task), task.StatusElement?.JsonValue as string, IsToDo(task), task.Owner?.Display, task.Restriction?.Period?.End,
        task.AuthoredOn, task.Requester?.Display,
        task.Is(WorkItem.Briefing) || task.Is(WorkItem.BriefingAcknowledgement) ? Briefing : ConflictTask.IsOne(task) ? Conflict : null,
        (task.BasedOn.FirstOrDefault() ?? task.Focus ?? task.ReasonReference)?.Reference, [.. task.Note.Select(n => n.Text).OfType<string>()]);
}
